package cause_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/proof"
	"stumble/obd"
	"stumble/obd/sim/car"
)

// driven keeps the drives that several tests look at.
var driven = make(map[string]cause.Drive)

// running is a drive of simulated faults, six minutes warm.
func running(t testing.TB, b build, seed uint64, faults ...car.Fault) cause.Drive {
	t.Helper()
	key := fmt.Sprint(b.layout, seed, faults)
	if d, known := driven[key]; known {
		return d
	}
	driven[key] = drive(t, b, car.Config{Faults: faults, Script: trip(6), Coolant: 80}, seed, 6*time.Minute)
	return driven[key]
}

func gathered(t testing.TB, b build, seed uint64, faults ...car.Fault) cause.Evidence {
	t.Helper()
	return cause.Gather([]cause.Drive{running(t, b, seed, faults...)}, nil, b.ignition)
}

func share(r *cause.Result, key string) float64 {
	for _, c := range r.Ranked {
		if c.Key == key {
			return c.Share
		}
	}
	return 0
}

func keys(r *cause.Result) (all []string) {
	for _, c := range r.Ranked {
		all = append(all, c.Key)
	}
	return all
}

func noted(r *cause.Result, kind cause.NoteKind) bool {
	return slices.ContainsFunc(r.Notes, func(n cause.Note) bool { return n.Kind == kind })
}

// wrenEvidence is the Wren with codes, two readings of the bench and a swap.
func wrenEvidence(t testing.TB) cause.Evidence {
	e := gathered(t, wren(), 3, car.PlugWire{Cylinder: 2})
	e.AddCodes(&obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: []obd.Code{0x0302, 0x0171}, Pending: []obd.Code{0x0302}}}})
	e.Bench = bench.Judge([]bench.Reading{
		{Part: bench.Plug, Cylinder: 2, Quantity: bench.Appearance, Value: math.NaN(), Text: "normal"},
		{Part: bench.Spark, Cylinder: 2, Quantity: bench.Outcome, Value: math.NaN(), Text: "weak"},
	})
	e.Swaps = []proof.SwapResult{{Swap: proof.Swap{Part: "coil", A: 2, B: 1}, Verdict: proof.StayedPut, From: 2, To: 1}}
	return e
}

// Shares sum to 1, are sorted, and every cause says what would overturn it.
func TestSharesSumToOne(t *testing.T) {
	book := cause.StandardBook()
	for seed, e := range []cause.Evidence{
		wrenEvidence(t), gathered(t, curlew(), 1, car.LeanBank{Bank: 2}), gathered(t, plover(), 2, car.Dead{Cylinder: 3}),
	} {
		r := book.Explain(e)
		sum, last := 0.0, 1.0
		for _, c := range r.Ranked {
			sum += c.Share
			assert.LessOrEqual(t, c.Share, last)
			last = c.Share
			assert.NotEmpty(t, c.Overturn.Table)
		}
		assert.InDelta(t, 1, sum, 1e-9, "%d", seed)
		assert.GreaterOrEqual(t, r.Bits, 0.0)
		require.NotNil(t, r.Next)
		assert.NotEmpty(t, r.Next.Cautions)
		sum = 0
		for _, o := range r.Next.Outcomes {
			sum += o.Share
		}
		assert.InDelta(t, 1, sum, 1e-9)
	}
}

// The order in which things were found changes nothing: drives, codes, readings, swaps.
func TestOrderChangesNothing(t *testing.T) {
	book := cause.StandardBook()
	drives := []cause.Drive{
		running(t, wren(), 3, car.PlugWire{Cylinder: 2}), running(t, wren(), 4, car.PlugWire{Cylinder: 2}), running(t, wren(), 5, car.PlugWire{Cylinder: 2}),
	}
	codes := []obd.Code{0x0302, 0x0171, 0x0351, 0x0420}
	readings := []bench.Reading{
		{Part: bench.Wire, Cylinder: 1, Quantity: bench.Resistance, Value: 8, Unit: "kohm"},
		{Part: bench.Wire, Cylinder: 2, Quantity: bench.Resistance, Value: 8.4, Unit: "kohm"},
		{Part: bench.Wire, Cylinder: 3, Quantity: bench.Resistance, Value: 7.9, Unit: "kohm"},
		{Part: bench.Spark, Cylinder: 2, Quantity: bench.Outcome, Value: math.NaN(), Text: "weak"},
	}
	swaps := []proof.SwapResult{
		{Swap: proof.Swap{Part: "coil", A: 2, B: 1}, Verdict: proof.StayedPut, From: 2, To: 1},
		{Swap: proof.Swap{Part: "plug", A: 2, B: 3}, Verdict: proof.StayedPut, From: 2, To: 3},
	}
	explained := func(rng *rand.Rand) *cause.Result {
		shuffle := func(n int, swap func(i, j int)) {
			if rng != nil {
				rng.Shuffle(n, swap)
			}
		}
		d, c, r, s := slices.Clone(drives), slices.Clone(codes), slices.Clone(readings), slices.Clone(swaps)
		shuffle(len(d), func(i, j int) { d[i], d[j] = d[j], d[i] })
		shuffle(len(c), func(i, j int) { c[i], c[j] = c[j], c[i] })
		shuffle(len(r), func(i, j int) { r[i], r[j] = r[j], r[i] })
		shuffle(len(s), func(i, j int) { s[i], s[j] = s[j], s[i] })
		e := cause.Gather(d, nil, cause.SharedCoils)
		e.AddCodes(&obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: c}}})
		e.Bench, e.Swaps = bench.Judge(r), s
		return book.Explain(e)
	}
	want := explained(nil)
	require.Len(t, want.Done, 4, "two swaps, wires and spark")
	for i := range uint64(10) {
		got := explained(seeded(i, 77))
		require.Equal(t, keys(want), keys(got))
		for k := range want.Ranked {
			assert.InDelta(t, want.Ranked[k].Share, got.Ranked[k].Share, 1e-9)
		}
		assert.Equal(t, want.Next.Key, got.Next.Key)
	}
}

// A coil on every plug has no wires and no shared coils: neither as causes nor in tests.
func TestLayoutRulesOut(t *testing.T) {
	r := cause.StandardBook().Explain(gathered(t, curlew(), 1, car.WornPlug{Cylinder: 5}))
	for _, gone := range []string{"plug_wire", "coil_half", "coil_shared"} {
		assert.NotContains(t, keys(r), gone)
	}
	assert.Contains(t, keys(r), "coil")
	for _, next := range append(slices.Clone(r.Others), *r.Next) {
		assert.NotContains(t, []string{"swap_wire", "swap_towers", "wire_ohms"}, next.Key)
	}
	shared := cause.StandardBook().Explain(gathered(t, wren(), 1, car.WornPlug{Cylinder: 4}))
	assert.NotContains(t, keys(shared), "coil")
	assert.NotContains(t, keys(shared), "air_leak_bank", "one bank is the whole engine")
	assert.Contains(t, keys(shared), "plug_wire")

	e := gathered(t, siskin(), 1, car.WornPlug{Cylinder: 2})
	e.Ignition = cause.IgnitionUnknown
	odd := cause.StandardBook().Explain(e)
	assert.NotContains(t, keys(odd), "coil_shared", "three cylinders cannot share coils in pairs")
	assert.Contains(t, keys(odd), "plug_wire")
	assert.True(t, noted(odd, cause.IgnitionNotTold))

	e.Ignition = cause.Distributor
	one := cause.StandardBook().Explain(e)
	assert.NotContains(t, keys(one), "coil")
	assert.Contains(t, keys(one), "plug_wire")
}

// A dead cylinder drives its bank's trim to the stop. That is its unburned air, and no leak.
func TestDeadCylinderIsNoLeak(t *testing.T) {
	e := gathered(t, wren(), 6, car.Dead{Cylinder: 4})
	require.Greater(t, e.Trims[0][cause.TrimIdle].Mean, 20.0, "the trap is set")
	r := cause.StandardBook().Explain(e)
	for _, f := range r.Facts {
		assert.False(t, strings.HasPrefix(f.Feature, "trim"), "%v", f)
	}
	for _, leak := range []string{"air_leak", "air_leak_cylinder", "fuel_supply"} {
		assert.Less(t, share(r, leak), 0.02, leak)
	}
}

// Readings and swaps move the ranking the way they should, and are not asked for again.
func TestTestsMade(t *testing.T) {
	book := cause.StandardBook()
	e := gathered(t, wren(), 3, car.PlugWire{Cylinder: 2})
	before := book.Explain(e)
	wires := func(second float64) []bench.Judgement {
		all := []bench.Reading{{Part: bench.Wire, Cylinder: 2, Quantity: bench.Resistance, Value: second, Unit: "kohm"}}
		for _, cyl := range []int{1, 3, 4} {
			all = append(all, bench.Reading{Part: bench.Wire, Cylinder: cyl, Quantity: bench.Resistance, Value: 8, Unit: "kohm"})
		}
		return bench.Judge(all)
	}
	made := func(change func(*cause.Evidence)) *cause.Result {
		with := e
		change(&with)
		r := book.Explain(with)
		require.Len(t, r.Done, 1)
		named := r.Others
		if r.Next != nil {
			named = append(slices.Clone(named), *r.Next)
		}
		for _, next := range named {
			assert.NotEqual(t, r.Done[0].Test, next.Key, "made already")
		}
		return r
	}
	open := made(func(e *cause.Evidence) { e.Bench = wires(math.Inf(1)) })
	assert.Greater(t, share(open, "plug_wire"), 0.9)
	good := made(func(e *cause.Evidence) { e.Bench = wires(8.2) })
	assert.Less(t, share(good, "plug_wire"), share(before, "plug_wire"))
	assert.Equal(t, cause.Telling{Kind: cause.PartMeasured, Part: bench.Wire, Quantity: bench.Resistance, Mark: bench.Good, Cylinders: []int{2}}, good.Done[0].Found)

	followed := made(func(e *cause.Evidence) {
		e.Swaps = []proof.SwapResult{{Swap: proof.Swap{Part: "wire", A: 2, B: 3}, Verdict: proof.FollowedPart, From: 2, To: 3}}
	})
	assert.Greater(t, share(followed, "plug_wire"), 0.95)
	assert.Nil(t, followed.Next, "proven")
	assert.True(t, followed.Proven())
	stayed := made(func(e *cause.Evidence) {
		e.Swaps = []proof.SwapResult{{Swap: proof.Swap{Part: "wire", A: 2, B: 3}, Verdict: proof.StayedPut, From: 2, To: 3}}
	})
	assert.Less(t, share(stayed, "plug_wire"), 0.15)

	// What says nothing is not taken: an open end, a swap of other cylinders, a reading of another cylinder.
	with := e
	with.Swaps = []proof.SwapResult{
		{Swap: proof.Swap{Part: "wire", A: 2, B: 3}, Verdict: proof.CannotTell, From: 2, To: 3},
		{Swap: proof.Swap{Part: "wire", A: 1, B: 4}, Verdict: proof.StayedPut, From: 1, To: 4},
	}
	with.Bench = bench.Judge([]bench.Reading{{Part: bench.Wire, Cylinder: 4, Quantity: bench.Resistance, Value: 8, Unit: "kohm"}})
	assert.Empty(t, book.Explain(with).Done)
}

// Likely is not proven: without a test of its own no cause ends the search, however sure it looks.
func TestNotProvenWithoutATest(t *testing.T) {
	r := cause.StandardBook().Explain(gathered(t, curlew(), 1, car.LeanBank{Bank: 2}))
	require.Greater(t, r.Ranked[0].Share, 0.95)
	require.NotNil(t, r.Next)
	assert.Equal(t, "smoke", r.Next.Key)
	assert.False(t, r.Proven())
}

// Compression is read over all cylinders: one low, two neighbours, all, or even; and low where nothing misses is no
// cause of this.
func TestCompressionTogether(t *testing.T) {
	book := cause.StandardBook()
	e := gathered(t, wren(), 3, car.Compression{Cylinder: 2})
	for _, c := range []struct {
		kpa  []float64
		lead string
		says cause.TellingKind
	}{
		{[]float64{1200, 700, 1210, 1190}, "compression", cause.MeasuredOff},
		{[]float64{1200, 640, 650, 1190}, "head_gasket", cause.MeasuredBeside},
		{[]float64{1200, 1180, 1210, 1190}, "", cause.MeasuredEven},
		{[]float64{1200, 1190, 1210, 700}, "", cause.MeasuredSound},
	} {
		var all []bench.Reading
		for i, v := range c.kpa {
			all = append(all, bench.Reading{Part: bench.Compression, Cylinder: i + 1, Quantity: bench.Dry, Value: v, Unit: "kPa"})
		}
		with := e
		with.Bench = bench.Judge(all)
		r := book.Explain(with)
		require.Len(t, r.Done, 1, "%v", c.kpa)
		assert.Equal(t, c.says, r.Done[0].Found.Kind)
		if c.lead == "" {
			assert.NotContains(t, []string{"compression", "head_gasket"}, r.Ranked[0].Key, "%v", c.kpa)
			continue
		}
		assert.Equal(t, c.lead, r.Ranked[0].Key, "%v", c.kpa)
	}
}

// A weak battery makes every other reading doubtful, and says so.
func TestFirstThings(t *testing.T) {
	e := gathered(t, wren(), 3, car.PlugWire{Cylinder: 2})
	e.Bench = bench.Judge([]bench.Reading{{Part: bench.Battery, Quantity: bench.Cranking, Value: 8.1, Unit: "V"}})
	assert.True(t, noted(cause.StandardBook().Explain(e), cause.SupplyBad))
}

// A rate that rises within a drive speaks for what fails as it heats through, where the heat itself tells nothing.
func TestWorsening(t *testing.T) {
	book := cause.StandardBook()
	e := gathered(t, wren(), 3, car.PlugWire{Cylinder: 2})
	e.Heat = cause.Heat{}
	grown := e
	grown.Cylinders = slices.Clone(e.Cylinders)
	grown.Cylinders[1].Worsening = true
	before, after := book.Explain(e), book.Explain(grown)
	assert.Greater(t, share(after, "coil_half")/share(after, "plug"), 1.5*share(before, "coil_half")/share(before, "plug"))
	found := slices.ContainsFunc(after.Facts, func(f cause.Fact) bool { return f.Feature == "worsening" && f.Said == "" })
	assert.True(t, found)
}

// Two faults at once make no pattern of one: the worst is explained, the other one named.
func TestTwoFaults(t *testing.T) {
	r := cause.StandardBook().Explain(gathered(t, wren(), 2, car.PlugWire{Cylinder: 2, Scale: 2}, car.PlugWire{Cylinder: 4}))
	require.NotEmpty(t, r.Ranked)
	assert.Equal(t, []int{2}, r.Ranked[0].Cylinders)
	assert.Contains(t, r.Notes, cause.Note{Kind: cause.OtherFault, Cylinders: []int{4}, Worst: []int{2}})
}

// A sound car is not explained.
func TestNothingToExplain(t *testing.T) {
	book := cause.StandardBook()
	for seed := range uint64(3) {
		r := book.Explain(gathered(t, wren(), seed))
		assert.Empty(t, r.Ranked)
		assert.Nil(t, r.Next)
		assert.Equal(t, cause.Unexplained{Counted: true, Driven: true}, r.None)
		assert.Equal(t, cause.Nothing, r.Basis)
	}
	assert.Zero(t, book.Explain(cause.Evidence{}).None)
	low := bench.Judge([]bench.Reading{{Part: bench.Compression, Quantity: bench.Dry, Cylinder: 1, Value: 1200, Unit: "kPa"},
		{Part: bench.Compression, Quantity: bench.Dry, Cylinder: 3, Value: 500, Unit: "kPa"}})
	bad := book.Explain(cause.Evidence{Bench: low}).None.Bad
	require.Len(t, bad, 1)
	assert.Equal(t, 3, bad[0].Cylinder)
	assert.Equal(t, cause.Unexplained{Read: true}, book.Explain(cause.Evidence{Codes: cause.Codes{Read: true}}).None)
}

// Codes alone give a weak ranking that says how weak it is.
func TestCodesAlone(t *testing.T) {
	book := cause.StandardBook()
	ranked := func(codes ...obd.Code) *cause.Result {
		in := &obd.Intake{CodeReport: obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: codes}}}}
		return book.Explain(cause.Gather(nil, in, cause.SharedCoils))
	}
	one := ranked(0x0302)
	assert.Equal(t, cause.FromCodes, one.Basis)
	assert.Equal(t, []int{2}, one.Ranked[0].Cylinders)
	assert.True(t, noted(one, cause.CodesAlone))
	assert.Less(t, one.Ranked[0].Share, 0.6, "a code alone is no proof")
	circuit := ranked(0x0302, 0x0202)
	assert.Equal(t, "injector_circuit", circuit.Ranked[0].Key, "an injector circuit code beats the misfire code")
	lean := ranked(0x0300, 0x0171)
	assert.Contains(t, []string{"air_leak", "fuel_supply"}, lean.Ranked[0].Key)
	assert.Empty(t, lean.Ranked[0].Cylinders)
	assert.Contains(t, keys(ranked(0x0300)), "head_gasket")
	assert.Empty(t, ranked(0x0420).Ranked, "no misfire code")
	other := ranked(0x0302, 0x0353)
	assert.Less(t, share(other, "coil_driver"), share(ranked(0x0302, 0x0352), "coil_driver"), "the coil circuit of another cylinder")
}

// The car's own counts of its last driving cycle name the cylinder where no drive does, and the words say how weak that
// is. A drive is the stronger witness.
func TestLastDrivingCycle(t *testing.T) {
	counted := func(misses ...float64) *obd.Intake {
		in := &obd.Intake{CodeReport: obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: []obd.Code{0x0300}}}}}
		for i, n := range misses {
			in.Tests = append(in.Tests, obd.TestResult{MID: obd.MIDCylinder1 + byte(i), TID: obd.TIDCount, Value: n},
				obd.TestResult{MID: obd.MIDCylinder1 + byte(i), TID: obd.TIDAverage, Value: 900})
		}
		return in
	}
	book := cause.StandardBook()
	r := book.Explain(cause.Gather(nil, counted(1, 168, 0, 2), cause.SharedCoils))
	assert.Equal(t, cause.FromLastCycle, r.Basis)
	assert.Equal(t, []int{2}, r.Ranked[0].Cylinders, "though the code names no cylinder")
	assert.True(t, noted(r, cause.LastCycleAlone))
	assert.Equal(t, cause.Telling{Kind: cause.LastFall, Among: cause.OneAlone, Cylinders: []int{2}, Misses: 168, All: 171}, r.Facts[0].Found)
	assert.Equal(t, "scope", r.Facts[1].Said, "the code is the weaker witness")
	all := book.Explain(cause.Gather(nil, counted(40, 38, 45, 41), cause.SharedCoils))
	assert.Empty(t, all.Ranked[0].Cylinders)
	assert.Equal(t, cause.FromCodes, book.Explain(cause.Gather(nil, counted(0, 3, 0, 0), cause.SharedCoils)).Basis, "too few to go by")

	d := running(t, wren(), 3, car.PlugWire{Cylinder: 2})
	e := cause.Gather([]cause.Drive{d}, counted(0, 0, 300, 0), cause.SharedCoils)
	assert.Equal(t, []int{2}, book.Explain(e).Ranked[0].Cylinders)
	assert.Equal(t, cause.FromCounts, book.Explain(e).Basis)
}

// After a clear the absence of codes is no comfort.
func TestClearedLately(t *testing.T) {
	states := []obd.MonitorState{{Monitor: obd.MonitorCatalyst, Supported: true}, {Monitor: obd.MonitorOxygen, Supported: true}, {Monitor: obd.MonitorVapour, Supported: true}}
	in := &obd.Intake{Modules: []obd.ModuleIntake{{Monitors: &obd.Monitors{States: states}}}}
	e := cause.Gather([]cause.Drive{running(t, wren(), 3, car.PlugWire{Cylinder: 2})}, in, cause.SharedCoils)
	r := cause.StandardBook().Explain(e)
	assert.True(t, noted(r, cause.ClearedLately))
	for _, f := range r.Facts {
		assert.False(t, strings.HasPrefix(f.Feature, "code"), "%v", f)
	}
}

// The freeze frame speaks where no drive does, and is silent where one does.
func TestFreezeFrame(t *testing.T) {
	reading := func(pid byte, v float64) obd.Reading {
		return obd.Reading{Service: obd.FreezeFrames, ID: pid, Value: v}
	}
	in := &obd.Intake{CodeReport: obd.CodeReport{
		Modules: []obd.ModuleCodes{{Stored: []obd.Code{0x0305}}},
		Frames: []obd.FreezeFrame{{Code: 0x0305, Readings: []obd.Reading{
			reading(obd.PIDLoad, 78), reading(obd.PIDRPM, 2960), reading(obd.PIDCoolant, 92), reading(obd.PIDSpeed, 74)}}},
	}}
	book := cause.StandardBook()
	alone := book.Explain(cause.Gather(nil, in, cause.CoilOnPlug))
	assert.Equal(t, "plug", alone.Ranked[0].Key)
	var frame *cause.Fact
	for i := range alone.Facts {
		if alone.Facts[i].Feature == "frame_load" {
			frame = &alone.Facts[i]
		}
	}
	require.NotNil(t, frame)
	assert.Empty(t, frame.Said)
	with := book.Explain(cause.Gather([]cause.Drive{running(t, curlew(), 2, car.WornPlug{Cylinder: 5})}, in, cause.CoilOnPlug))
	for _, f := range with.Facts {
		if f.Feature == "frame_load" {
			assert.Equal(t, "pull_step", f.Said, "the drive's own counts are the stronger witness")
		}
	}
}

// The engine is found by what tells most: a layout told in any drive is kept.
func TestGatherKeepsTheLayout(t *testing.T) {
	d := running(t, wren(), 3, car.PlugWire{Cylinder: 2})
	bare := *d.Summary
	var err error
	bare.Engine, err = engine.Plain(4)
	require.NoError(t, err)
	e := cause.Gather([]cause.Drive{{Summary: &bare}, d}, nil, cause.SharedCoils)
	assert.Equal(t, "i4-1342", e.Engine.Key)
	assert.Equal(t, 2, e.Drives)
	plain := cause.Gather([]cause.Drive{{Summary: &bare}}, nil, cause.SharedCoils)
	r := cause.StandardBook().Explain(plain)
	assert.Equal(t, "plug_wire", r.Ranked[0].Key)
	assert.True(t, noted(r, cause.LayoutNotTold))
}
