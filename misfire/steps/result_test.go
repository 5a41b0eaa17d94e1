package steps

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/rate"
)

// A step's rate is that of all running in its condition: its cells are added up, and bursts widen its limits.
func TestResultsAddUpCells(t *testing.T) {
	r := newRig(t, "park,raised,drive")
	colder := cellOf(2, parked(), 2, 200)
	colder.Condition.Warm = false
	bursty := cellOf(2, parked(), 1, 800)
	bursty.Estimate = rate.Interval(1, 800, 2.5)
	r.sum.Cells = []misfire.Cell{colder, bursty, cellOf(2, raised(), 7, 600), cellOf(2, cruising(), 50, 900), cellOf(2, inDrive(), 18, 450)}
	r.sum.ByGear = []misfire.Cell{cellOf(2, inDrive(), 20, 500)}
	r.until(parked(), Ended)
	results := r.results()

	park := results[0].Cells
	require.Len(t, park, 4)
	assert.Equal(t, Count{Cylinder: 2, Reported: true, Estimate: rate.Interval(3, 1000, 2.5)}, park[1])
	assert.Zero(t, park[0].Firings)
	assert.Equal(t, rate.Interval(7, 600, 1), results[1].Cells[1].Estimate)
	assert.Equal(t, rate.Interval(20, 500, 1), results[2].Cells[1].Estimate, "as the table by gear has it")

	full := cellOf(2, inDrive(), 65535, 70000)
	full.AtLeast = true
	r.sum.ByGear[0] = full
	assert.Equal(t, rate.AtLeast(65535, 70000, 1), r.results()[2].Cells[1].Estimate)

	r.sum.Cells, r.sum.ByGear = nil, nil
	assert.Empty(t, r.results()[0].Cells)
}

func TestRemarks(t *testing.T) {
	run := func(refresh misfire.Refresh, length time.Duration) string {
		r := newRig(t, "park")
		r.drive(parked(), tick)
		u := r.runner.run()
		u.outcome, u.in, u.revs = Done, length, length.Minutes()*750
		r.sum.Refresh = refresh
		return r.results()[0].Remark
	}
	assert.Equal(t, "only 2 of the counters' refreshes (every 1000 revolutions) in it: repeat it", run(every(1000), 3*time.Minute))
	assert.Equal(t, "none of the counters' refreshes (every 1000 revolutions) in it: repeat it", run(every(1000), time.Minute))
	assert.Equal(t, "only 3 of the counters' refreshes (every 30 seconds) in it: repeat it",
		run(misfire.Refresh{Kind: misfire.RefreshSeconds, Seconds: 30}, 100*time.Second))
	assert.Equal(t, "if this car's counters are refreshed every 1,000 revolutions, only 2 of the refreshes in it",
		run(misfire.Refresh{}, 3*time.Minute))
	assert.Equal(t, "not enough to show a fault of 2 in 1,000 for sure: 1125 firings of 1498", run(every(200), 3*time.Minute))
	assert.Empty(t, run(every(200), 4*time.Minute))
}

// What was looked for in the dark is forgotten once the fault is known: 30 in 1,000 need a hundred firings, not 1,498.
func TestFaultFoundLater(t *testing.T) {
	r := newRig(t, "park")
	r.sum.Refresh = every(200)
	r.until(parked(), Ended)
	assert.NotEmpty(t, r.results()[0].Remark)
	r.accuse(30, 1000, 1)
	assert.Empty(t, r.results()[0].Remark)
	assert.InDelta(t, 99.9, r.results()[0].Needed, 0.1)
}

func TestNotes(t *testing.T) {
	r := newRig(t, "park")
	r.until(parked(), Ended)
	s := r.sum
	require.Len(t, r.runner.Notes(&s), 1)
	assert.Contains(t, r.runner.Notes(&s)[0], "--key-off")
	s.Refresh.Rises = 3
	assert.Empty(t, r.runner.Notes(&s))
	s.Total = nil
	assert.Contains(t, r.runner.Notes(&s)[0], "no misfire counts")

	keyed := newRig(t, "park", func(c *Config) { c.KeyOff = true })
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
	for o := NotReached; o <= Stopped; o++ {
		assert.NotEmpty(t, o.String())
	}
}
