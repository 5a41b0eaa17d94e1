package cause

import (
	"encoding/csv"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/bench"
	"stumble/misfire/engine"
	"stumble/obd"
)

// Every code that a car may set beside a misfire, as testdata/codes-beside.csv lists them with their sources, is a fact
// with its weight or silent for a reason; and those of them that stop the misfire monitor are known as such.
func TestEveryCodeBesideAMisfire(t *testing.T) {
	file, err := os.Open("testdata/codes-beside.csv")
	require.NoError(t, err)
	defer file.Close()
	r := csv.NewReader(file)
	r.Comment = '#'
	lines, err := r.ReadAll()
	require.NoError(t, err)
	b, stops := StandardBook(), 0
	for _, line := range lines[1:] {
		code, err := obd.ParseCode(line[0])
		require.NoError(t, err)
		k := b.codes[code]
		require.NotNil(t, k, "%s %s", line[0], line[1])
		assert.NotEmpty(t, k.reason, line[0])
		assert.NotEmpty(t, k.source, line[0])
		assert.NotEmpty(t, k.group, line[0])
		assert.Equal(t, line[3] == "yes", k.stops, line[0])
		silent := line[2] == "silent" || strings.HasPrefix(line[2], "(") || line[0] == "P0300"
		assert.Equal(t, silent, len(k.speaks) == 0, "%s: %s", line[0], line[2])
		if k.stops {
			stops++
		}
	}
	assert.Positive(t, stops)
}

// missing is a four with a coil on every plug whose cylinder 2, or all of whose cylinders, miss at idle and on the road.
func missing(all bool, codes ...obd.Code) Evidence {
	layout, _ := engine.Find("i4-1342")
	e := Evidence{Engine: layout, Ignition: CoilOnPlug, Drives: 1, Cylinders: make([]Cylinder, 4), Codes: Codes{Read: true, Set: codes}}
	for i := range e.Cylinders {
		misses := 1.0
		if all || i == 1 {
			misses = 90
		}
		c := &e.Cylinders[i]
		c.Counted = true
		for _, p := range [...]Place{IdleNeutral, IdleGear, Cruise, Pull} {
			c.At[p][1] = Count{misses, 3000, misses}
			c.Total.add(c.At[p][1])
		}
	}
	return e
}

func shareOf(r *Result, key string) float64 {
	for i := range r.Ranked {
		if r.Ranked[i].Key == key {
			return r.Ranked[i].Share
		}
	}
	return 0
}

// Codes that changed nothing once move what they speak for: each raises its cause at least half again.
func TestCodesMoveTheirCauses(t *testing.T) {
	b := StandardBook()
	for cause, codes := range map[string][]obd.Code{
		"air_meter": {0x0100, 0x0101, 0x0102, 0x0103}, "egr_open": {0x0400, 0x0402, 0x0403, 0x0404, 0x0405, 0x0406}, "purge_open": {0x0441, 0x0443, 0x0496},
		"supply_ground": {0x0560, 0x0561, 0x0562, 0x0563}, "low_fuel": {0x0313}, "crank_signal": {0x0335, 0x0336, 0x0337, 0x0338, 0x0339},
		"chain": {0x0008, 0x0016, 0x0341}, "valve_timing": {0x0011, 0x0014}, "fuel_supply": {0x0171, 0x0087}, "fuel_pressure_high": {0x0172, 0x0088},
		"tooth_pattern": {0x0315}, "rough_road": {0x0318}, "exhaust_blocked": {0x0101}, "other": {0x0117, 0x0217, 0x0219, 0x2004},
	} {
		for _, code := range codes {
			without, with := b.Explain(missing(true)), b.Explain(missing(true, code))
			assert.Greater(t, shareOf(with, cause), min(1.5*shareOf(without, cause), 0.9), "%s for %s", code, cause)
		}
	}
	for cause, codes := range map[string][]obd.Code{"injector_circuit": {0x0202, 0x0264}, "coil_driver": {0x0352}, "coil": {0x0352}, "injector_starving": {0x02A0}} {
		for _, code := range codes {
			without, with := b.Explain(missing(false)), b.Explain(missing(false, code))
			assert.Greater(t, shareOf(with, cause), min(1.5*shareOf(without, cause), 0.9), "%s for %s", code, cause)
		}
	}
	// One that names another cylinder weighs nothing.
	assert.InDelta(t, shareOf(b.Explain(missing(false)), "coil"), shareOf(b.Explain(missing(false, 0x0354)), "coil"), 0.15)
	assert.Less(t, shareOf(b.Explain(missing(false, 0x0354)), "coil_driver"), shareOf(b.Explain(missing(false, 0x0352)), "coil_driver"))
	// Silent ones move nothing at all.
	assert.InDelta(t, shareOf(b.Explain(missing(true)), "plug"), shareOf(b.Explain(missing(true, 0x0420, 0x0442)), "plug"), 1e-9)
}

// While a code is set that stops the misfire monitor, counts of zero mean nothing, and both answers say so.
func TestMonitorStopped(t *testing.T) {
	b := StandardBook()
	r := b.Explain(missing(true, 0x0335))
	assert.Contains(t, r.Notes, Note{Kind: MonitorStopped, Code: 0x0335})
	clean := missing(false, 0x0335)
	for i := range clean.Cylinders {
		clean.Cylinders[i] = Cylinder{Counted: true, Total: Count{Firings: 9000}}
	}
	assert.Equal(t, obd.Code(0x0335), b.Explain(clean).None.Stopped)
	clean.Codes.Set = []obd.Code{0x0420}
	assert.Zero(t, b.Explain(clean).None.Stopped)
}

// Codes of both banks speak against what sits on one, codes of one against what all cylinders share.
func TestCodesOfBanks(t *testing.T) {
	b := StandardBook()
	of := func(codes ...obd.Code) *Result {
		e := missing(true, codes...)
		e.Engine, _ = engine.Find("v6-along-142536")
		e.Cylinders = append(e.Cylinders, e.Cylinders[0], e.Cylinders[1])
		return b.Explain(e)
	}
	both, one := of(0x0171, 0x0174), of(0x0174)
	assert.Greater(t, shareOf(both, "fuel_supply"), shareOf(one, "fuel_supply"))
	assert.Less(t, shareOf(both, "air_leak_bank"), shareOf(one, "air_leak_bank"))
}

// Counts of 1, 12, 1 and 0 accuse cylinder 2 alone; a neighbour is never named for it, nor one that the verdict of the
// drive leaves out.
func TestNoInnocentIsNamed(t *testing.T) {
	b := StandardBook()
	for _, counts := range [][]float64{{1, 12, 1, 0}, {0, 12, 1, 1}, {1, 6, 1, 0}, {2, 6, 0, 1}} {
		e := missing(false)
		for i, n := range counts {
			c := &e.Cylinders[i]
			*c = Cylinder{Counted: true}
			c.At[IdleGear][1] = Count{n, 1500, n}
			c.Total = c.At[IdleGear][1]
		}
		for _, c := range b.Explain(e).Ranked {
			if len(c.Cylinders) > 0 {
				assert.Equal(t, []int{2}, c.Cylinders, "%v: %s", counts, c.Key)
			}
		}
	}
	pair := missing(false)
	pair.Cylinders[2] = pair.Cylinders[1]
	pair.Accused = []int{2}
	for _, c := range b.Explain(pair).Ranked {
		assert.NotContains(t, c.Cylinders, 3, c.Key)
	}
}

// Two neighbours that miss in opposite running are two faults: the worst is explained, the other one named.
func TestOppositeNeighboursAreTwoFaults(t *testing.T) {
	e := missing(false)
	e.Cylinders[1].At = [Places][2]Count{IdleNeutral: {1: {2, 3000, 2}}, IdleGear: {1: {6, 3000, 6}}, Pull: {1: {260, 2000, 260}}}
	e.Cylinders[2].At = [Places][2]Count{IdleNeutral: {1: {200, 3000, 200}}, IdleGear: {1: {180, 3000, 180}}, Pull: {1: {1, 2000, 1}}}
	for i := range e.Cylinders {
		c := &e.Cylinders[i]
		c.Total = Count{}
		for p := range Places {
			c.Total.add(c.at(Place(p)))
		}
	}
	r := StandardBook().Explain(e)
	assert.Contains(t, r.Notes, Note{Kind: OtherFault, Cylinders: []int{2}, Worst: []int{3}})
	assert.NotEqual(t, "head_gasket", r.Ranked[0].Key)
}

// The bank is named by the cylinder that it holds, though the layout was not told: bank 1 is that with cylinder 1.
func TestBankWithoutALayout(t *testing.T) {
	e := Evidence{Engine: engine.Layout{Cylinders: 6}, Ignition: CoilOnPlug, Cylinders: make([]Cylinder, 6)}
	for i := range e.Cylinders {
		misses := 1.0
		if i >= 3 {
			misses = 60
		}
		c := &e.Cylinders[i]
		c.Counted, c.At[IdleNeutral][1] = true, Count{misses, 3000, misses}
		c.At[Cruise][1] = Count{1, 4000, 1}
		c.Total.add(c.At[IdleNeutral][1])
		c.Total.add(c.At[Cruise][1])
	}
	e.Trims = Trims{{TrimIdle: {0, 40}, TrimCruise: {0, 40}}, {TrimIdle: {17, 40}, TrimCruise: {3, 40}}}
	r := StandardBook().Explain(e)
	assert.Equal(t, "air_leak_bank", r.Ranked[0].Key)
	assert.Equal(t, 2, r.Ranked[0].Bank)
	assert.NotContains(t, r.Notes, Note{Kind: LayoutNotTold})
}

// What any healthy car shows weighs nothing: a frame of a warm engine at a plain idle. The likeliest cause always has a
// reason, and reasons stand in order of their weight.
func TestReasonsAreWorthTelling(t *testing.T) {
	b := StandardBook()
	plain := missing(false)
	framed := plain
	framed.Codes.Frame = &Frame{Load: 35, RPM: 672, Coolant: 91}
	assert.Equal(t, b.Explain(plain).Ranked, b.Explain(framed).Ranked)
	for _, e := range []Evidence{plain, missing(true), {Ignition: CoilOnPlug, Codes: Codes{Set: []obd.Code{0x0302}}}} {
		r := b.Explain(e)
		require.NotEmpty(t, r.Ranked[0].For)
		for i := range r.Ranked {
			for k := 1; k < len(r.Ranked[i].For); k++ {
				assert.GreaterOrEqual(t, r.Ranked[i].For[k-1].Times, r.Ranked[i].For[k].Times)
			}
		}
	}
}

// What the driver reports is understood by its words, weighed, and alone enough for a car that tells nothing else.
func TestSymptoms(t *testing.T) {
	b := StandardBook()
	for text, want := range map[string][]Symptom{
		"Misses after heavy rain": {"wet"}, "it began since the last fill at a cheap station": {"since_filling"}, "stumbles right after filling": {"after_filling"},
		"loses coolant, white smoke in the morning": {"coolant_loss", "white_smoke", "cold_only"}, "accelerating uphill": {"under_load"}, "the radio is loud": nil,
		"worked on": {"worked_on"}, "AFTER A WASH!": {"wet"},
	} {
		assert.Equal(t, want, b.HearSymptoms(text), text)
	}
	e := missing(false)
	told := e
	told.Told = []Symptom{"wet", "no such thing"}
	assert.Greater(t, shareOf(b.Explain(told), "boot_tracking"), 2*shareOf(b.Explain(e), "boot_tracking"))
	alone := b.Explain(Evidence{Ignition: CoilOnPlug, Told: []Symptom{"wet"}})
	assert.Equal(t, FromReport, alone.Basis)
	assert.Equal(t, "boot_tracking", alone.Ranked[0].Key)
	assert.Contains(t, alone.Notes, Note{Kind: ReportAlone})
	keys, words := b.Symptoms()
	for i := range keys {
		assert.NotEmpty(t, words[i])
		assert.Contains(t, b.HearSymptoms(string(keys[i])+" "+strings.ReplaceAll(string(keys[i]), "_", " ")), keys[i], "its own key says it")
	}
}

// Cases of known cause move the priors as Dirichlet's distribution has it: 50 cases of the table and 10 of one cause. By
// hand: a cause of 15 % of the table's goes to (7.5 + 10) / 60.
func TestLearn(t *testing.T) {
	b := smallBook(0.15, 0.5, 0.5)
	taught, moved := b.Learn(map[string]int{"a": 10, "no such cause": 3})
	assert.InDelta(t, 17.5/60, taught.causes[0].prior, 1e-12)
	assert.InDelta(t, 42.5/60, taught.causes[1].prior, 1e-12)
	assert.InDelta(t, 0.15, b.causes[0].prior, 1e-12, "the book itself stays")
	require.Len(t, moved, 2)
	assert.InDelta(t, 0.15, moved[0].From, 1e-12)
	assert.InDelta(t, 17.5/60, moved[0].To, 1e-12)
	_, none := b.Learn(nil)
	assert.Empty(t, none)
}

// Readings of the bench that no test heard once are heard: a rail that does not hold, back-pressure, a ground, a fall of
// the rail on either side of its siblings.
func TestBenchIsHeard(t *testing.T) {
	b := StandardBook()
	heard := func(all ...bench.Reading) map[string]int {
		e := missing(false)
		e.Bench = bench.Judge(all)
		out := make(map[string]int)
		for _, f := range b.Explain(e).Done {
			out[f.Test] = highest(f.Weights)
		}
		return out
	}
	assert.Equal(t, map[string]int{"rail_hold": 0}, heard(bench.Reading{Part: bench.Fuel, Quantity: bench.Hold, Value: 90, Unit: "kPa"}))
	assert.Equal(t, map[string]int{"back_pressure": 0}, heard(bench.Reading{Part: bench.Exhaust, Quantity: bench.BackPressure, Value: 42, Unit: "kPa"}))
	assert.Equal(t, map[string]int{"supply": 0}, heard(bench.Reading{Part: bench.Ground, Quantity: bench.Drop, Value: 0.9, Unit: "V"}))
	drops := func(second float64) []bench.Reading {
		var all []bench.Reading
		for cyl, v := range []float64{65, second, 66, 64} {
			all = append(all, bench.Reading{Part: bench.Injector, Cylinder: cyl + 1, Quantity: bench.PressureDrop, Value: v, Unit: "kPa"})
		}
		return all
	}
	assert.Equal(t, map[string]int{"injector_flow": 0}, heard(drops(39)...), "less")
	assert.Equal(t, map[string]int{"injector_flow": 1}, heard(drops(99)...), "more")
}

// Rows that name physics go the way it goes: what is left of a fault in other running decides the level that the row
// holds the likeliest.
func TestRowsFollowPhysics(t *testing.T) {
	b := StandardBook()
	likeliest := func(feature, cause string) string {
		for _, f := range b.features {
			if f.key == feature {
				return f.levels[best(b.likelihoods[feature], cause, IgnitionUnknown).likeliest()]
			}
		}
		return ""
	}
	// A leak as a share of the air at idle, cruise and pull of a small engine, in g/s.
	const idle, cruise, pull = 2.5, 12, 40
	require.Less(t, leakFlow(2)/cruise, 0.25*leakFlow(2)/idle)
	require.Less(t, leakFlow(2)/pull, 0.1*leakFlow(2)/idle)
	for _, leak := range []string{"air_leak", "air_leak_bank", "air_leak_cylinder"} {
		assert.Equal(t, "gone", likeliest("cruise_step", leak))
		assert.Equal(t, "gone", likeliest("pull_step", leak))
		assert.Equal(t, "gone", likeliest("speed_step", leak))
	}
	// A leaking cylinder loses less the faster it turns.
	require.Less(t, 1-kept(0.4, 2500), 0.4*(1-kept(0.4, 700)))
	assert.Equal(t, "gone", likeliest("speed_step", "compression"))
	assert.Equal(t, "gone", likeliest("pull_step", "compression"))
	// Load asks for more than twice the voltage.
	require.Greater(t, gapVoltage(1.1, 95), 2*gapVoltage(1.1, 35))
	assert.Equal(t, "jumps", likeliest("pull_step", "plug"))
	// Copper that is 80 kelvin hotter loses a fourteenth of its current: ohms do not tell of heat, so most hot coils read right.
	assert.Equal(t, "within", b.tests[testAt(b, "coil_ohms")].outcomes[best(b.outcomes["coil_ohms"], "coil", IgnitionUnknown).likeliest()])
	// Three volts lost in an injector's circuit eat the short pulse of the idle and not the long one of full load.
	require.Less(t, injected(2.5, 0.75), injected(15, 0.75)-0.2)
	circuit, starving := best(b.likelihoods["pull_step"], "injector_circuit", IgnitionUnknown), best(b.likelihoods["pull_step"], "injector_starving", IgnitionUnknown)
	assert.Greater(t, circuit.levels[0], 5*starving.levels[0])
	// An idle bears some 5 to 10 points more burnt gas and a cruise 15 to 20; full load hardly any is drawn in.
	require.Greater(t, residual(101, 35), 1.4*residual(101, 60))
	assert.Equal(t, "gone", likeliest("pull_step", "egr_open"))
	// One cylinder's 30 % is 8 % of a bank of four.
	require.InDelta(t, 0.08, bankTrim(-0.3, 4), 0.002)
	assert.Equal(t, "lean", likeliest("trim_own", "injector_starving"))
	assert.Equal(t, "rich", likeliest("trim_own", "injector_dripping"))
}

func testAt(b *Book, key string) int {
	for i := range b.tests {
		if b.tests[i].key == key {
			return i
		}
	}
	return -1
}

// Whoever is named as a source is told of in testdata/sources.csv.
func TestSourcesAreTold(t *testing.T) {
	text, err := os.ReadFile("testdata/sources.csv")
	require.NoError(t, err)
	all, err := records(text)
	require.NoError(t, err)
	told := map[string]bool{"judgement": true, "physics": true}
	for _, r := range all {
		assert.NotEmpty(t, r["what"], r["source"])
		told[r["source"]] = true
	}
	b := StandardBook()
	for feature, rows := range b.likelihoods {
		for _, r := range rows {
			if strings.HasPrefix(r.source, "13 CCR") {
				continue // named in full
			}
			for _, key := range strings.Fields(r.source) {
				assert.True(t, told[key], "%s of %s names %q", feature, r.cause, key)
			}
		}
	}
	for _, s := range b.symptoms {
		assert.True(t, told[s.source], "%s names %q", s.key, s.source)
	}
}
