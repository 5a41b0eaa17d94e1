package guide

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/rate"
)

// windowOf is a window of the counters over some stretches, in which cylinder 2 rose.
func windowOf(from, to time.Time, misses int, stretches ...misfire.Stretch) *misfire.Window {
	return &misfire.Window{From: from, To: to, Counted: true, Stretches: stretches,
		Counts: []misfire.WindowCount{{Cylinder: 1}, {Cylinder: 2, Misses: misses}, {Cylinder: 3}, {Cylinder: 4}}}
}

func stretchOf(l misfire.Live, firings float64, d time.Duration) misfire.Stretch {
	return misfire.Stretch{Condition: cellOf(2, l, 0, 0).Condition, Firings: firings, Running: d}
}

// A step holds what ran in its condition while it ran itself, and nothing of the same gear before it or after.
func TestResultsHoldTheStepAlone(t *testing.T) {
	r := newRig(t, "park,drive")
	r.sum.Refresh = every(200)
	r.accuse(30, 1000, 1)
	before := r.now
	r.drive(parked(), tick)
	begin := r.now
	r.until(parked(), Ended)
	end := r.now
	r.until(inDrive(), Ended)
	window := r.runner.AddWindow
	window(windowOf(before.Add(-time.Minute), before, 9, stretchOf(parked(), 375, time.Minute)))                   // before it
	window(windowOf(begin, begin.Add(16*time.Second), 3, stretchOf(parked(), 100, 16*time.Second)))                // within
	window(windowOf(end.Add(-8*time.Second), end.Add(8*time.Second), 4, stretchOf(parked(), 100, 16*time.Second))) // half
	broken := windowOf(begin, end, 99, stretchOf(parked(), 100, 16*time.Second))
	broken.Counted = false
	window(broken)
	park := r.results()[0].Counts
	require.Len(t, park, 4)
	assert.InDelta(t, 3+2, park[1].Misses, 1e-9)
	assert.InDelta(t, 100+50, park[1].Firings, 1e-9)
	assert.True(t, park[1].Reported)
	assert.Zero(t, park[0].Misses)
	assert.Empty(t, r.results()[1].Counts, "nothing was counted in Drive")
}

// A lump that spans two conditions is shared out as the rates of the whole drive have it, by firings where there are none.
func TestLumpsAreSharedOut(t *testing.T) {
	r := newRig(t, "park,drive")
	r.drive(parked(), time.Minute)
	mixed := windowOf(r.now.Add(-20*time.Second), r.now, 10, stretchOf(parked(), 100, 10*time.Second), stretchOf(inDrive(), 100, 10*time.Second))
	r.runner.AddWindow(mixed)
	assert.InDelta(t, 5, r.results()[0].Counts[1].Misses, 1e-9)
	r.sum.Cells = []misfire.Cell{cellOf(2, parked(), 10, 1000), cellOf(2, inDrive(), 40, 1000)}
	assert.InDelta(t, 2, r.results()[0].Counts[1].Misses, 1e-9)
	bursty := cellOf(2, parked(), 10, 1000)
	bursty.Estimate = rate.Interval(10, 1000, 2.5)
	r.sum.Cells[0] = bursty
	assert.InDelta(t, 2.5, r.results()[0].Counts[1].Phi, 1e-9)

	mixed.Counts[1].AtLeast = true
	r.runner.AddWindow(mixed)
	assert.True(t, r.results()[0].Counts[1].AtLeast)
}

func TestRemarks(t *testing.T) {
	run := func(refresh misfire.Refresh, length time.Duration) Saying {
		r := newRig(t, "park")
		r.drive(parked(), tick)
		u := r.runner.run()
		u.outcome, u.in, u.revs = Done, length, length.Minutes()*750
		r.sum.Refresh = refresh
		return r.results()[0].Remark
	}
	assert.Equal(t, Saying{Kind: FewRevolutions, Value: 2, Of: 1000}, run(every(1000), 3*time.Minute))
	assert.Equal(t, Saying{Kind: FewRevolutions, Of: 1000}, run(every(1000), time.Minute))
	assert.Equal(t, Saying{Kind: FewSeconds, Value: 3, Of: 30},
		run(misfire.Refresh{Kind: misfire.RefreshSeconds, Seconds: 30}, 100*time.Second))
	assert.Equal(t, Saying{Kind: FewPerhaps, Value: 2, Of: 1000},
		run(misfire.Refresh{}, 3*time.Minute))
	assert.Equal(t, Saying{Kind: FewFirings, Rate: 2, Value: 1125, Of: 1498}, run(every(200), 3*time.Minute))
	assert.Zero(t, run(every(200), 4*time.Minute))
}

// What was looked for in the dark is forgotten once the fault is known: 30 in 1,000 need a hundred firings, not 1,498.
func TestFaultFoundLater(t *testing.T) {
	r := newRig(t, "park")
	r.sum.Refresh = every(200)
	r.until(parked(), Ended)
	assert.NotZero(t, r.results()[0].Remark)
	r.accuse(30, 1000, 1)
	assert.Zero(t, r.results()[0].Remark)
	assert.InDelta(t, 99.9, r.results()[0].Needed, 0.1)
}

func TestNotes(t *testing.T) {
	r := newRig(t, "park")
	r.until(parked(), Ended)
	s := r.sum
	require.Len(t, r.runner.Notes(&s), 1)
	assert.Equal(t, told(NoteNoneMoved), r.runner.Notes(&s)[0])
	s.Refresh.Rises = 3
	assert.Empty(t, r.runner.Notes(&s))
	s.Total = nil
	assert.Equal(t, told(NoteNoCounts), r.runner.Notes(&s)[0])

	keyed := newRig(t, "park", func(c *LoadConfig) { c.KeyOff = true })
	assert.Empty(t, keyed.runner.Notes(&r.sum))
}

func TestKnownFrom(t *testing.T) {
	r := newRig(t, "park")
	r.sum.Refresh = every(200)
	assert.Equal(t, Known{Phi: 1, Refresh: every(200)}, KnownFrom(&r.sum))
	r.accuse(30, 1000, 2)
	assert.Equal(t, Known{Rate: 30, Phi: 2, Refresh: every(200)}, KnownFrom(&r.sum))
}

func TestWords(t *testing.T) {
	for k := Begun; k <= Over; k++ {
		assert.NotEqual(t, "?", k.String())
	}
	assert.Equal(t, "?", (Over + 1).String())
	assert.Equal(t, "?", Ask(99).String())
	for a := AskNothing; a <= AskPlugIn; a++ {
		assert.NotEqual(t, "?", a.String())
	}
	for o := NotReached; o <= Stopped; o++ {
		assert.NotEqual(t, "?", o.String())
	}
	for v := NotCut; v <= Weak; v++ {
		text, err := v.MarshalText()
		require.NoError(t, err)
		assert.NotEqual(t, "?", string(text))
	}
}
