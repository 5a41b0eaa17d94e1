package say

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/proof"
	"stumble/obd"
)

// What was found, a phrase each.
func TestTellings(t *testing.T) {
	w := English()
	two := []int{2}
	for _, c := range []struct {
		told cause.Telling
		want string
	}{
		{cause.Telling{Kind: cause.MissesFall, Among: cause.OneAlone, Cylinders: two, Misses: 168, All: 171}, "168 of 171 misses on cylinder 2"},
		{cause.Telling{Kind: cause.MissesFall, Among: cause.ACoil, Cylinders: []int{2, 3}, Misses: 1, All: 1},
			"1 of 1 miss on cylinders 2 and 3, which may share a coil"},
		{cause.Telling{Kind: cause.MissesFall, Among: cause.AllAlike, All: 40}, "all cylinders miss alike: 40 misses"},
		{cause.Telling{Kind: cause.LastFall, Among: cause.ABank, Cylinders: two, Misses: 3, All: 4},
			"by the car's own counts of its last driving cycle, 3 of 4 misses on cylinder 2"},
		{cause.Telling{Kind: cause.RatesDiffer, From: cause.Running(cause.IdleNeutral), FromRate: 2.46, To: cause.Running(cause.IdleGear), ToRate: 31},
			"misses 31 of 1,000 firings at idle in gear, 2.5 at idle in Park or Neutral"},
		{cause.Telling{Kind: cause.RatesByHeat, From: cause.WhenCooler, To: cause.WhenHottest, ToRate: 9.96},
			"misses 10 of 1,000 firings when as hot as it gets, none when cooler, in like running"},
		{cause.Telling{Kind: cause.CodeStored, Code: 0x0087}, "P0087 is stored: " + obd.DescribeCode(0x0087).Meaning},
		{cause.Telling{Kind: cause.OwnTrim, Trim: 6, Own: 24, Cylinders: two},
			"fuel trim +6.0 % where it hardly misses: if cylinder 2 alone makes it, lean by about 24 %"},
		{cause.Telling{Kind: cause.TrimLevel, Trim: -3.25, Where: cause.TrimRaised, Bank: 2}, "fuel trim of bank 2 -3.2 % at 2500 rpm"},
		{cause.Telling{Kind: cause.PartMeasured, Part: bench.Wire, Quantity: bench.Resistance, Mark: bench.Good, Cylinders: two},
			"measured: plug wire of cylinder 2 is good"},
		{cause.Telling{Kind: cause.MeasuredSound, Part: bench.Compression, Quantity: bench.Dry, Cylinders: []int{4}},
			"measured: compression is off on cylinder 4, which does not miss"},
		{cause.Telling{Kind: cause.PartsSwapped, Swap: &proof.SwapResult{Swap: proof.Swap{Part: "wire"}, From: 2, To: 3, Verdict: proof.FollowedPart}},
			"the wires of cylinders 2 and 3 were exchanged: followed the part"},
	} {
		assert.Equal(t, c.want, w.Telling(&c.told))
	}
	for k := cause.MissesFall; k <= cause.PartsSwapped; k++ {
		all := cause.Telling{Kind: k, Cylinders: two, Part: bench.Wire, Quantity: bench.Resistance, Swap: &proof.SwapResult{}}
		assert.NotEmpty(t, w.Telling(&all), "%d", k)
	}
}

func TestNothingToExplain(t *testing.T) {
	w := English()
	said := func(u cause.Unexplained) string { return w.Causes(&cause.Result{None: u}) }
	low := []bench.Reading{{Part: bench.Compression, Quantity: bench.Dry, Cylinder: 3}}
	assert.Contains(t, said(cause.Unexplained{}), "holds no intake and no drive")
	assert.Contains(t, said(cause.Unexplained{Read: true}), "no misfire code is stored and no drive was recorded")
	assert.Contains(t, said(cause.Unexplained{Bad: low}), "Bad on the bench: compression of cylinder 3. Whether")
	assert.Contains(t, said(cause.Unexplained{Counted: true, Bad: low}), "yet bad on the bench: compression of cylinder 3.")
	assert.Contains(t, said(cause.Unexplained{Counted: true, Driven: true}), "no cylinder misses more than a healthy one")
	assert.Contains(t, said(cause.Unexplained{Driven: true}), "its idle is even")
}

func TestTextsOfTheTables(t *testing.T) {
	w := English()
	text := cause.Text{Table: "exchange {a} and {b}: {cyl} with {other}", Cylinders: []int{2}, Clean: 3}
	assert.Equal(t, "exchange 2 and 3: cylinder 2 with cylinder 3", w.Filled(text))
	assert.Equal(t, "exchange A and B: each cylinder with a clean one", w.Filled(cause.Text{Table: text.Table}))
}

func TestCauseNotes(t *testing.T) {
	w := English()
	r := &cause.Result{}
	for k := cause.CodesAlone; k <= cause.TrimsLeftOut; k++ {
		r.Notes = append(r.Notes, cause.Note{Kind: k, Cylinders: []int{4}, Worst: []int{2}, Part: bench.Battery, Quantity: bench.Cranking})
	}
	notes := w.CauseNotes(r)
	for _, n := range notes {
		assert.NotEmpty(t, n)
		assert.NotContains(t, n, "{")
	}
	assert.Contains(t, notes, "cylinder 4 misses as well, in no pattern that one fault makes: a second fault may be there; explained here is cylinder 2, the worst")
}

// A part that took the fault along is named by where it sits now: who reads only that must not replace the good one.
func TestCauseOfAMovedPart(t *testing.T) {
	swap := &proof.SwapResult{Swap: proof.Swap{Part: "wire", A: 1, B: 2}, From: 2, To: 1, Verdict: proof.FollowedPart}
	shown := cause.Reason{Fact: cause.Telling{Kind: cause.PartsSwapped, Swap: swap}, ByTest: true}
	wire := cause.Ranked{Name: "plug wire", Cylinders: []int{2}, For: []cause.Reason{shown}}
	assert.Equal(t, "plug wire that was on cylinder\u00a02 and is now on cylinder\u00a01", English().CauseTitle(&wire))
	stayed := *swap
	stayed.Verdict = proof.StayedPut
	wire.For[0].Fact.Swap = &stayed
	assert.Equal(t, "plug wire, cylinder 2", English().CauseTitle(&wire))
	wire.For[0].Fact.Swap, wire.Cylinders = swap, []int{2, 3}
	assert.Equal(t, "plug wire, cylinders 2 and 3", English().CauseTitle(&wire))
}
