package guide

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire"
	"stumble/misfire/gear"
)

// How long a step takes, by what is known of the counters and the fault. All at 750 rpm: 200 revolutions are 16 s, 1,000
// are 80 s; to see a fault of rate r once but for one time in twenty takes ln(20)/r firings, two revolutions each (the
// rule of three: Hanley and Lippman-Hand 1983).
func TestLengthOfAStep(t *testing.T) {
	for _, c := range []struct {
		name    string
		refresh misfire.Refresh
		known   Known
		misses  float64 // of cylinder 2 in 1,000 firings, elsewhere
		phi     float64
		silent  bool // the car counts no misses
		want    time.Duration
	}{
		{"a frequent fault: five refreshes of 200", every(200), Known{}, 30, 1, false, 80 * time.Second},
		{"five refreshes of 1,000 are never cut short", every(1000), Known{}, 30, 1, false, 400 * time.Second},
		{"five of 10 seconds, a minute at least", misfire.Refresh{Kind: misfire.RefreshSeconds, Seconds: 10}, Known{}, 30, 1, false, 60 * time.Second},
		{"five of 30 seconds", misfire.Refresh{Kind: misfire.RefreshSeconds, Seconds: 30}, Known{}, 30, 1, false, 150 * time.Second},
		{"counters that move at once: the least", misfire.Refresh{Kind: misfire.RefreshAtOnce}, Known{}, 30, 1, false, time.Minute},
		{"a rarer fault: 749 firings", every(200), Known{}, 4, 1, false, 2 * time.Minute},
		{"the same in bursts: capped", every(200), Known{}, 4, 3, false, longest},
		{"no fault seen: one of 2 in 1,000 would need 240 s", every(200), Known{}, 0, 1, false, longest},
		{"nothing known: capped", misfire.Refresh{}, Known{}, 0, 1, false, longest},
		{"known from before", misfire.Refresh{}, Known{Rate: 30, Phi: 1, Refresh: every(200)}, 0, 1, false, 80 * time.Second},
		{"no counts at all: the least", misfire.Refresh{}, Known{}, 0, 1, true, time.Minute},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, "park", func(cfg *LoadConfig) { cfg.Known = c.known })
			r.sum.Refresh = c.refresh
			if c.misses > 0 {
				r.accuse(c.misses, 1000, c.phi)
			}
			if c.silent {
				r.sum.Total = nil
			}
			r.until(parked(), Begun)
			took := r.until(parked(), Ended)
			assert.InDelta(t, c.want.Seconds(), took.Seconds(), 1.1)
			assert.InDelta(t, c.want.Seconds(), r.results()[0].In.Seconds(), 1.1)
		})
	}
}

// statistics worked example: 1 in 1,000 needs 2,996 firings, seven and a half minutes at 800 rpm.
func TestFiringsNeeded(t *testing.T) {
	r := newRig(t, "park")
	r.accuse(1, 1000, 1)
	r.drive(live(gear.ParkNeutral, 800, 22, 0), tick)
	s := r.runner.Status()
	assert.InDelta(t, 2996, s.Needed, 1)
	assert.InDelta(t, 7.5*800/750, r.runner.turning(2*s.Needed).Minutes(), 0.05, "at the usual idle until its own is seen")
	r.drive(live(gear.ParkNeutral, 800, 22, 0), 10*time.Second)
	assert.InDelta(t, 7.5, r.runner.turning(2*s.Needed).Minutes(), 0.05)
}

// Once the fault has shown beyond doubt in the step itself, only the refreshes count.
func TestShownIsEnough(t *testing.T) {
	r := newRig(t, "drive")
	r.sum.Refresh = every(200)
	r.sum.ByGear = []misfire.Cell{cellOf(2, inDrive(), 100, 9000)} // of an earlier time in Drive
	r.until(inDrive(), Held)
	assert.InDelta(t, 180, r.runner.left().Seconds(), 1)
	r.sum.ByGear[0] = cellOf(2, inDrive(), 104, 9100)
	r.drive(inDrive(), 20*time.Second)
	assert.InDelta(t, 160, r.runner.left().Seconds(), 1, "four misses may be chance")
	r.sum.ByGear[0] = cellOf(2, inDrive(), 105, 9200)
	r.drive(inDrive(), tick)
	assert.InDelta(t, 59.5, r.runner.left().Seconds(), 1)
	assert.Zero(t, r.runner.Status().Needed)
}

// Two rises bound an unknown refresh: none can lie closer together than the period.
func TestRisesBoundTheRefresh(t *testing.T) {
	r := newRig(t, "drive")
	r.accuse(30, 1000, 1)
	r.until(inDrive(), Held)
	assert.InDelta(t, 180, r.runner.left().Seconds(), 1, "1,000 revolutions assumed, capped")
	r.sum.Refresh.Rises = 1
	r.drive(inDrive(), time.Second)
	r.sum.Refresh.Rises = 2 // another cylinder of the same refresh
	r.drive(inDrive(), 15*time.Second)
	assert.InDelta(t, 164, r.runner.left().Seconds(), 1.1)
	r.sum.Refresh.Rises = 3 // 200 revolutions on
	r.drive(inDrive(), tick)
	// At most 200 revolutions and the blur of reading: 5 x 260 are 104 s, of which 17 are over.
	assert.InDelta(t, 104-17, r.runner.left().Seconds(), 3)
}
