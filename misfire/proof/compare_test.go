package proof_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/obd"
)

// 13 CCR 1968.2 (c), from memory: within 375 rpm, within 20 % load, the same warm-up state; two makers' service
// pages print 10 % load. At each limit and just beyond it.
func TestSimilarConditions(t *testing.T) {
	base := proof.Point{RPM: 1000, Load: 40, Warm: proof.Warm}
	for _, c := range []struct {
		p              proof.Point
		ordinary, hard bool
	}{
		{proof.Point{RPM: 1375, Load: 40, Warm: proof.Warm}, true, true},
		{proof.Point{RPM: 1375.25, Load: 40, Warm: proof.Warm}, false, false},
		{proof.Point{RPM: 625, Load: 40, Warm: proof.Warm}, true, true},
		{proof.Point{RPM: 624.75, Load: 40, Warm: proof.Warm}, false, false},
		{proof.Point{RPM: 1000, Load: 60, Warm: proof.Warm}, true, false},
		{proof.Point{RPM: 1000, Load: 60.4, Warm: proof.Warm}, false, false},
		{proof.Point{RPM: 1000, Load: 50, Warm: proof.Warm}, true, true},
		{proof.Point{RPM: 1000, Load: 50.4, Warm: proof.Warm}, true, false},
		{proof.Point{RPM: 1000, Load: 40, Warm: proof.Cold}, false, false},
		{proof.Point{RPM: 1000, Load: 40}, true, true},
		{proof.Point{RPM: math.NaN(), Load: 40, Warm: proof.Warm}, false, false},
		{proof.Point{RPM: 1000, Load: math.NaN(), Warm: proof.Warm}, false, false},
	} {
		require.Equal(t, c.ordinary, proof.ToleranceOf(false).Similar(base, c.p), "%v", c.p)
		require.Equal(t, c.hard, proof.ToleranceOf(true).Similar(base, c.p), "strict %v", c.p)
	}
}

// The cells of both drives are matched by their means, at the limits too.
func TestOnlyLikeIsCompared(t *testing.T) {
	before := summary(t, idle(60, 2000, 1))
	for name, c := range map[string]struct {
		after spell
		like  bool
	}{
		"same":            {spell{gear: gear.Drive, rpm: 700, load: 33}, true},
		"at the limit":    {spell{gear: gear.Drive, rpm: 1075, load: 53}, true},
		"too fast":        {spell{gear: gear.Drive, rpm: 1076, load: 33}, false},
		"too much load":   {spell{gear: gear.Drive, rpm: 700, load: 53.1}, false},
		"cold":            {spell{gear: gear.Drive, rpm: 700, load: 33, cold: true}, false},
		"in another gear": {spell{gear: gear.ParkNeutral, rpm: 700, load: 33}, false},
	} {
		c.after.cylinder, c.after.firings = 2, 9000
		got := compare(t, before, summary(t, c.after))
		if c.like {
			require.Equal(t, proof.Proven, got.Outcome, name)
			require.Empty(t, got.NotCompared)
			continue
		}
		require.Equal(t, proof.NotYet, got.Outcome, name)
		require.Zero(t, got.Cylinders[0].Conditions[0].Most.Firings, name)
		require.Len(t, got.NotCompared, 2, name)
		require.Equal(t, 0, len(got.Cylinders[0].Overall.Compared), name)
	}
	strict, err := proof.Compare(proof.Input{Before: sideOf(before), Strict: true,
		After: sideOf(summary(t, spell{cylinder: 2, gear: gear.Drive, rpm: 700, load: 45, firings: 9000}))})
	require.NoError(t, err)
	require.Equal(t, proof.NotYet, strict.Outcome)
}

func TestOutcomes(t *testing.T) {
	before := summary(t, idle(60, 2000, 1)) // 30 of 1,000, 22.97 to 38.45
	for name, c := range map[string]struct {
		after *misfire.Summary
		want  proof.Outcome
	}{
		"clean and long":   {summary(t, idle(0, 3000, 1)), proof.Proven},
		"clean, too short": {summary(t, idle(0, 1000, 1)), proof.NotYet},
		"as before":        {summary(t, idle(30, 1000, 1)), proof.StillMissing},
		"a quarter of it":  {summary(t, idle(30, 4000, 1)), proof.Improved},
		"two later":        {summary(t, idle(2, 3000, 1)), proof.NotYet},
	} {
		got := compare(t, before, c.after)
		require.Equal(t, c.want, got.Outcome, name)
	}
}

// A proof fills with the running, and is full when no more is wanted: not before, and not when it is broken.
func TestFilling(t *testing.T) {
	before := summary(t, idle(60, 2000, 1))
	for _, c := range []struct {
		misses, firings, least, most float64
		settled                      bool
	}{
		{0, 1, 0, 0.01, false},
		{0, 500, 0.2, 0.5, false},
		{0, 1000, 0.4, 0.99, false},
		{0, 3000, 1, 1, true},
		{30, 1000, 0, 0.9, true}, // it misses on
		{2, 3000, 0.3, 0.99, false},
	} {
		got := compare(t, before, summary(t, idle(c.misses, c.firings, 1)))
		cyl := got.Cylinders[0]
		require.Equal(t, c.settled, got.Settled(), "%v of %v", c.misses, c.firings)
		for _, filled := range []float64{cyl.Filled(), cyl.Conditions[0].Filled()} {
			require.GreaterOrEqual(t, filled, c.least, "%v of %v", c.misses, c.firings)
			require.LessOrEqual(t, filled, c.most, "%v of %v", c.misses, c.firings)
		}
	}
	half := compare(t, before, summary(t, idle(0, 1000, 1))).Cylinders[0]
	more := compare(t, before, summary(t, idle(0, 1000+half.Conditions[0].Missing, 1)))
	require.Equal(t, 1.0, more.Cylinders[0].Filled(), "what was told to be missing fills it")

	none := compare(t, summary(t, idle(0, 2000, 1)), summary(t, idle(0, 2000, 1)))
	require.True(t, none.Settled(), "no running proves what never failed")
	hopeless := proof.Cylinder{Conditions: []proof.Condition{{Failing: true, RPM: 700, Missing: math.Inf(1), Minutes: math.Inf(1)}}}
	require.Zero(t, hopeless.Filled())
}

func TestMovedNeedsTheOtherToHaveBeenClean(t *testing.T) {
	all := func(misses ...float64) *misfire.Summary {
		var spells []spell
		for i, m := range misses {
			spells = append(spells, spell{cylinder: i + 1, gear: gear.Drive, rpm: 700, load: 33, misses: m, firings: 3000})
		}
		return summary(t, spells...)
	}
	got := compare(t, all(0, 90, 0, 0), all(90, 0, 0, 0))
	require.Equal(t, proof.Moved, got.Outcome)
	require.Equal(t, 1, got.Newcomers[0].Cylinder)
	require.True(t, got.Newcomers[0].Moved)
	require.Equal(t, proof.Proven, got.Cylinders[0].Outcome)

	unseen := compare(t, summary(t, idle(90, 3000, 1)), all(90, 0, 0, 0))
	require.False(t, unseen.Newcomers[0].Moved, "cylinder 1 was not driven before")

	both := compare(t, all(90, 90, 0, 0), all(90, 0, 0, 0))
	require.Equal(t, proof.StillMissing, both.Outcome)
	require.Empty(t, both.Newcomers)
}

// A fault that was seen in fewer than three bursts, or twelve windows, cannot be proven gone however long the running
// after; other conditions of the cylinder add their bursts.
func TestTooFewBursts(t *testing.T) {
	once := idle(30, 2000, 59) // one burst of thirty
	got := compare(t, summary(t, once), summary(t, idle(0, 900000, 1)))
	require.Equal(t, proof.NotYet, got.Outcome)
	require.False(t, got.Cylinders[0].Line.Can())
	require.Equal(t, 1.0, got.Cylinders[0].Line.Bursts)
	short := compare(t, summary(t, idle(40, 1100, 1)), summary(t, idle(0, 90000, 1)))
	require.Equal(t, proof.NotYet, short.Outcome, "eleven windows")
	require.False(t, short.Cylinders[0].Line.Can())

	other := spell{cylinder: 2, gear: gear.Moving, rpm: 2000, load: 33, misses: 60, firings: 2000, phi: 3}
	got = compare(t, summary(t, once, other), summary(t, idle(0, 900000, 1), spell{cylinder: 2, gear: gear.Moving, rpm: 2000, load: 33, firings: 900000}))
	require.Equal(t, proof.Proven, got.Outcome)

	// What still misses may be called so.
	got = compare(t, summary(t, once), summary(t, idle(90, 3000, 1)))
	require.Equal(t, proof.StillMissing, got.Outcome)
}

// What failed under load is proven under as much: less of it, near as it may be, is another condition.
func TestLoadIsProvenUnderLoad(t *testing.T) {
	pull := func(load, misses, firings float64) spell {
		return spell{cylinder: 2, gear: gear.Moving, rpm: 2500, load: load, misses: misses, firings: firings}
	}
	before := summary(t, pull(75, 60, 2000))
	require.Equal(t, proof.NotYet, compare(t, before, summary(t, pull(69, 0, 90000))).Outcome)
	require.Equal(t, proof.Proven, compare(t, before, summary(t, pull(70.5, 0, 9000))).Outcome)
	require.Equal(t, proof.Proven, compare(t, before, summary(t, pull(88, 0, 9000))).Outcome, "more of it will do")
}

// Fine cells too thin to show the fault: the gear state as a whole is compared, and it is said.
func TestWholeGear(t *testing.T) {
	var thin, after []spell
	for _, rpm := range []float64{1200, 1800, 2500, 3500} {
		thin = append(thin, spell{cylinder: 2, gear: gear.Moving, rpm: rpm, load: 50, misses: 2, firings: 300})
		after = append(after, spell{cylinder: 2, gear: gear.Moving, rpm: rpm, load: 50, firings: 2000})
	}
	got := compare(t, summary(t, thin...), summary(t, after...))
	require.Equal(t, proof.Proven, got.Outcome)
	require.Equal(t, proof.WholeGear, got.Cylinders[0].Conditions[0].Level)
}

// A window that spans conditions and saw no miss acquits each; one that saw misses is charged to each that it
// may belong to, and accuses none.
func TestMixedWindows(t *testing.T) {
	before := summary(t, idle(60, 2000, 1))
	clean := idle(0, 0, 1)
	clean.clear = 3000
	require.Equal(t, proof.Proven, compare(t, before, summary(t, clean)).Outcome)

	dirty := idle(0, 500, 1)
	dirty.mixed, dirty.doubt = 2500, 40
	got := compare(t, before, summary(t, dirty))
	require.Equal(t, proof.NotYet, got.Outcome)
	require.Equal(t, 40.0, got.Cylinders[0].Conditions[0].Most.Misses)
	require.Zero(t, got.Cylinders[0].Conditions[0].After.Misses)
	require.Equal(t, 3000.0, got.Cylinders[0].Conditions[0].Most.Firings)
}

func TestFreezeFrame(t *testing.T) {
	at := func(rpm, load, coolant float64) *obd.CodeReport {
		return &obd.CodeReport{Frames: []obd.FreezeFrame{{Code: 0x0302, Readings: []obd.Reading{
			{ID: obd.PIDRPM, Value: rpm}, {ID: obd.PIDLoad, Value: load}, {ID: obd.PIDCoolant, Value: coolant}}}}}
	}
	in := proof.Input{Before: sideOf(summary(t, idle(60, 2000, 1))), After: sideOf(summary(t, idle(0, 9000, 1)))}
	in.Before.Codes = at(690, 35, 90)
	got, err := proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.Proven, got.Outcome)
	require.True(t, got.Frames[0].Covered)

	in.Before.Codes = at(2400, 70, 90)
	got, err = proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.NotYet, got.Outcome)
	require.Zero(t, got.Frames[0].Firings)
	require.Equal(t, proof.Point{RPM: 2400, Load: 70, Warm: proof.Warm}, got.Frames[0].At)
	in.After = sideOf(summary(t, idle(0, 9000, 1), spell{cylinder: 2, gear: gear.Moving, rpm: 2500, load: 72, firings: 9000}))
	got, err = proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.Proven, got.Outcome)

	in.Before.Codes.Frames[0].Readings = nil
	got, err = proof.Compare(in)
	require.NoError(t, err)
	require.False(t, got.Frames[0].Known)
	in.Before.Codes = at(2400, 70, 90)
	in.Before.Codes.Frames[0].Code = 0x0420 // not a misfire: none of our business
	got, err = proof.Compare(in)
	require.NoError(t, err)
	require.Empty(t, got.Frames)
}

// A fault seen cold or right after start is proven only with a warm-up or start in the running after.
func TestRestartAndWarmUp(t *testing.T) {
	cold := idle(60, 2000, 1)
	cold.cold = true
	after := idle(0, 9000, 1)
	after.cold = true
	in := proof.Input{Before: sideOf(summary(t, cold)), After: sideOf(summary(t, after))}
	in.Before.Codes = &obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: []obd.Code{0x0316}}}}
	got, err := proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.NotYet, got.Outcome)
	require.Len(t, got.Checks, 2)
	require.Equal(t, proof.Check{Kind: proof.WantsWarmUp}, got.Checks[1])
	in.After.Cycles = &proof.Progress{Starts: 1, WarmUps: 1}
	got, err = proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.Proven, got.Outcome)
}

// A fault that made a long pause once may make it again: it must have had its time five times over.
func TestLongPauses(t *testing.T) {
	blocks := make([]float64, 360)
	for i := range blocks {
		if i < 150 || i >= 210 {
			blocks[i] = 1
		}
	}
	before := summary(t, idled(2, blocks)) // no miss in 6,000 firings in the middle
	got := compare(t, before, summary(t, idle(0, 20000, 1)))
	require.Equal(t, proof.NotYet, got.Outcome)
	require.InDelta(t, 5*6100-20000, got.Cylinders[0].Conditions[0].Missing, 100)
	require.Equal(t, proof.Proven, compare(t, before, summary(t, idle(0, 30700, 1))).Outcome)
}

func TestBadInput(t *testing.T) {
	good := summary(t, idle(60, 2000, 1))
	six := summary(t, idle(60, 2000, 1))
	six.Engine.Cylinders = 6
	other := summary(t, idle(60, 2000, 1))
	other.Engine.FiringOrder = []int{1, 2, 4, 3}
	mapped := summary(t, idle(60, 2000, 1))
	m, err := engine.ParseMap("1,3,4,2", 4)
	require.NoError(t, err)
	mapped.Map = m
	for want, in := range map[string]proof.Input{
		"no drive after was given: name one to compare":                                                                               {Before: sideOf(good)},
		"no drive before was given: name one to compare":                                                                              {Before: sideOf(nil), After: sideOf(good)},
		"the drives are of two cars (VIN A before, B after): choose two drives of one car":                                            {Before: proof.Side{VIN: "A", Drives: sideOf(good).Drives}, After: proof.Side{VIN: "B", Drives: sideOf(good).Drives}},
		"the engines disagree: 4 cylinders in before, 6 in after: set the right layout on both":                                       {Before: sideOf(good), After: sideOf(six)},
		"the engines disagree: firing order [1 3 4 2] in before, [1 2 4 3] in after: set the right layout on both":                    {Before: sideOf(good), After: sideOf(other)},
		"the cylinder maps of the drives disagree: look at both with the same map":                                                    {Before: sideOf(good), After: sideOf(mapped)},
		"the drive after holds no misfire counts of a running engine: record one on a car that counts misses by cylinder, for longer": {Before: sideOf(good), After: sideOf(summary(t))},
		"a ceiling of -1 per 1,000 firings cannot be: give one above 0 and under 1000":                                                {Before: sideOf(good), After: sideOf(good), Ceiling: -1},
	} {
		_, err := proof.Compare(in)
		require.EqualError(t, err, want)
		_, err = proof.CompareSwap(in, proof.Swap{Part: "coil", A: 1, B: 2})
		require.EqualError(t, err, want)
	}
}

func TestNothingFailedBefore(t *testing.T) {
	got := compare(t, summary(t, idle(0, 2000, 1)), summary(t, idle(0, 2000, 1)))
	require.Equal(t, proof.NotYet, got.Outcome)
	require.Empty(t, got.Cylinders)
	stray := compare(t, summary(t, idle(1, 20, 1)), summary(t, idle(0, 2000, 1)))
	require.Empty(t, stray.Cylinders, "one stray miss in a second is no failing condition")
}

// Counters at their end say "at least": no proof by them.
func TestSaturatedCounter(t *testing.T) {
	after := summary(t, idle(0, 9000, 1))
	for i := range after.Cells {
		after.Cells[i].AtLeast = true
	}
	require.Equal(t, proof.NotYet, compare(t, summary(t, idle(60, 2000, 1)), after).Outcome)
}

// Figures that cannot be never panic and prove nothing.
func TestHostileFigures(t *testing.T) {
	bad := []float64{math.NaN(), math.Inf(1), math.Inf(-1), -5, 0}
	for _, v := range bad {
		for _, w := range bad {
			b, a := idle(60, 2000, 1), idle(0, 9000, 1)
			before, after := summary(t, b), summary(t, a)
			for _, cell := range []*misfire.Cell{&after.Cells[0], &after.ByGear[0]} {
				cell.Decides.Firings, cell.Firings = v, w
			}
			for _, cell := range []*misfire.Cell{&before.Cells[0], &before.ByGear[0]} {
				cell.Phi, cell.RPM = w, v
			}
			got, err := proof.Compare(proof.Input{Before: sideOf(before), After: sideOf(after)})
			require.NoError(t, err)
			require.NotEqual(t, proof.Proven, got.Outcome, "%v %v", v, w)
		}
	}
}

func TestOutcomeNames(t *testing.T) {
	for o, want := range map[proof.Outcome]string{
		proof.NotYet: "not_yet", proof.Proven: "proven", proof.Improved: "improved", proof.StillMissing: "still_missing", proof.Moved: "moved",
	} {
		text, err := o.MarshalText()
		require.NoError(t, err)
		require.Equal(t, want, string(text))
	}
	require.Equal(t, "?", proof.Outcome(99).String())
}

// A cylinder counts as missing after the repair when the evidence is 100 to 1, not 10 to 1: an e-value of 100 comes up under
// the ceiling at most once in 100 drives, however often one looks (Ville 1939). The evidence is worked out anew here, by the
// mean of the Poisson likelihood ratios of 2, 4 .. 512 times a ceiling of 1 per 1,000.
func TestStillMissingWantsAHundredToOne(t *testing.T) {
	evidence := func(misses, firings float64) float64 {
		sum, n := 0.0, 0.0
		for r := 2.0; r <= 512; r *= 2 {
			sum, n = sum+math.Pow(r, misses)*math.Exp(-firings*(r-1)/1000), n+1
		}
		return sum / n
	}
	before := summary(t, idle(16, 2000, 1)) // 8 of 1,000
	for _, c := range []struct {
		misses, firings, least, most float64
		want                         proof.Outcome
	}{
		{6, 878, 100, 102, proof.StillMissing},
		{6, 884, 98, 100, proof.NotYet},
		{6, 1400, 10, 11, proof.NotYet},
		{10, 2405, 100, 102, proof.StillMissing},
		{10, 2414, 98, 100, proof.NotYet},
		{10, 3290, 10, 11, proof.NotYet},
	} {
		odds := evidence(c.misses, c.firings)
		require.True(t, odds > c.least && odds < c.most, "%v to 1", odds)
		require.Equal(t, c.want, compare(t, before, summary(t, idle(c.misses, c.firings, 1))).Outcome, "%v in %v", c.misses, c.firings)
	}
	// Two misses are never beyond doubt, be they in ever so few firings (common practice, no source).
	require.Greater(t, evidence(2, 20), 100.0)
	require.Equal(t, proof.NotYet, compare(t, before, summary(t, idle(2, 20, 1))).Outcome)
	require.Equal(t, proof.StillMissing, compare(t, before, summary(t, idle(3, 30, 1))).Outcome)
}

// What fails before: three misses above the ceiling beyond doubt, or, where they came as one burst, ten times the ceiling
// (common practice, no source).
func TestWhatFails(t *testing.T) {
	for name, c := range map[string]struct {
		before spell
		fails  bool
	}{
		"two misses in a moment":          {idle(2, 50, 1), false},
		"three":                           {idle(3, 50, 1), true},
		"a burst under ten times of it":   {idle(9, 1000, 17), false},
		"a burst of more than ten times":  {idle(11, 1000, 21), true},
		"a burst of twenty-five times it": {idle(25, 1000, 49), true},
	} {
		got := compare(t, summary(t, c.before), summary(t, idle(0, 2000, 1)))
		require.Equal(t, c.fails, len(got.Cylinders) > 0, name)
	}
}

// With two bursts a fault is not known well enough to be proven gone, with three it is (by simulation; see Line).
func TestThreeBursts(t *testing.T) {
	for bursts, want := range map[float64]proof.Outcome{2: proof.NotYet, 3: proof.Proven} {
		phi := 2*30/bursts - 1 // of thirty misses
		got := compare(t, summary(t, idle(30, 2000, phi)), summary(t, idle(0, 900000, 1)))
		require.Equal(t, bursts, got.Cylinders[0].Line.Bursts)
		require.Equal(t, want, got.Outcome, "%v bursts", bursts)
	}
}

// What misses after counts as still missing while it may be half as often as before, by the upper limit of the ratio.
func TestHalfAsOften(t *testing.T) {
	before := summary(t, idle(60, 2000, 1)) // 30 of 1,000
	for misses, want := range map[float64]proof.Outcome{48: proof.StillMissing, 36: proof.StillMissing, 18: proof.Improved} {
		got := compare(t, before, summary(t, idle(misses, 3000, 1)))
		high := got.Cylinders[0].Conditions[0].Ratio.High
		require.Equal(t, want == proof.StillMissing, high > 0.5, "%v", high)
		require.Equal(t, want, got.Outcome, "%v misses, the ratio at most %v", misses, high)
	}
}

// A miss after, a pause of more than a quarter of those before behind the last one, is a burst of its own, and moves Wald's
// line (Wald 1947) on: ln 20/0.9 = 3.3286 for none, ln 10/0.9 = 2.5584 for each.
func TestBurstsAfter(t *testing.T) {
	before := summary(t, idle(60, 6000, 19))                                    // six bursts of ten, 1,000 firings apart
	for firings, bursts := range map[float64]float64{1000: 2, 600: 2, 400: 1} { // two misses, half of it apart
		got := compare(t, before, summary(t, idle(2, firings, 1)))
		require.InDelta(t, 3.3286+2.5584*bursts, got.Cylinders[0].Line.Want, 1e-3, "%v", firings)
	}
}

// From 40 % of load on (common practice, no source) running counts as like only in the band of ten points that the fault was
// seen in, or above it; under 40 % anything within 20 points is.
func TestLoadedFromFortyPercent(t *testing.T) {
	at := func(load float64) proof.Point { return proof.Point{RPM: 2000, Load: load, Warm: proof.Warm} }
	for _, c := range []struct {
		seen, ran float64
		like      bool
	}{{39, 29, true}, {35, 28, true}, {40, 39, false}, {45, 39.5, false}, {45, 40, true}, {48, 55, true}, {55, 49, false}} {
		require.Equal(t, c.like, proof.ToleranceOf(false).Similar(at(c.seen), at(c.ran)), "%+v", c)
	}
}
