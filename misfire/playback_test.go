package misfire_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/obd"
)

// record is the samples of a simulated drive.
func record(t testing.TB, scenario string, length time.Duration) []obd.Sample {
	r := newRig(t, scenario, 3)
	r.keep, r.marks = true, false
	r.run(0, length)
	return r.record
}

// A drive looked at tomorrow gives today's numbers, however often it was looked at on the way.
func TestPlaybackEqualsLive(t *testing.T) {
	for _, scenario := range []string{"wren", "wren-live-counter", "wren-slow-counter", "wren-key-off-counter", "wren-cold", "fuel-shutoff"} {
		t.Run(scenario, func(t *testing.T) {
			samples := record(t, scenario, 6*time.Minute)
			play := func(look func(i int, tally *misfire.Tally)) *misfire.Summary {
				layout, err := engine.Plain(4)
				require.NoError(t, err)
				tally := misfire.NewTally(misfire.Config{Engine: layout})
				for i := range samples {
					if i == 700 {
						tally.Mark(samples[i].Sent, gear.ParkNeutral)
					}
					tally.Add(&samples[i])
					look(i, tally)
				}
				tally.Finish()
				return tally.Summary()
			}
			plain := play(func(int, *misfire.Tally) {})
			looked := play(func(i int, tally *misfire.Tally) {
				if i%97 == 0 {
					tally.Glance()
				}
				if i%1013 == 0 {
					first, second := tally.Summary(), tally.Summary()
					require.Equal(t, fmt.Sprintf("%+v", first), fmt.Sprintf("%+v", second), "looking changes nothing")
				}
				if i%31 == 0 {
					tally.Strip(nil)
				}
			})
			// NaN is not equal to itself: the printed form is compared.
			assert.Equal(t, fmt.Sprintf("%+v", plain), fmt.Sprintf("%+v", looked))
		})
	}
}

// A Summary is a value of its own: the drive going on changes none of it.
func TestSummaryIsNotChangedLater(t *testing.T) {
	r := newRig(t, "wren", 1)
	r.run(0, 3*time.Minute)
	s := r.tally.Summary()
	before := fmt.Sprintf("%+v", s)
	r.run(3*time.Minute, 6*time.Minute)
	r.finish(6*time.Minute, true)
	assert.Equal(t, before, fmt.Sprintf("%+v", s))
}

// Samples that make no sense, or come in no order, make no panic and no negative running.
func TestSamplesThatMakeNoSense(t *testing.T) {
	samples := record(t, "wren", 2*time.Minute)
	tally := misfire.NewTally(misfire.Config{})
	tally.Finish()
	tally.Summary()
	for i := range samples {
		s := samples[(i*7919)%len(samples)]
		tally.Add(&s)
	}
	tally.Mark(epoch.Add(-time.Hour), gear.State(77))
	tally.Add(&obd.Sample{})
	tally.Finish()
	s := tally.Summary()
	assert.GreaterOrEqual(t, s.Running, time.Duration(0))
	for _, c := range s.Total {
		assert.GreaterOrEqual(t, c.Firings, 0.0)
		assert.GreaterOrEqual(t, c.Misses, 0.0)
	}
}
