package misfire_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/vehicle"
)

// Cars of SAE J1979-2, through adapter, dialogue and poller: whatever order a code's counts are in, in whichever language
// the others are told, what is counted is what the car counted, and of each cylinder. No real car of this kind was at hand.
func TestModernCountsAreTheCars(t *testing.T) {
	for name, minutes := range map[string]time.Duration{
		"siskin": 6, "heron": 8, "siskin-both": 5, "siskin-both-standing": 5, "siskin-old-gearbox": 5, "siskin-alone": 5,
		"siskin-by-monitor": 5, "siskin-one-at-a-time": 5, "siskin-silent-limit": 5, "siskin-wide": 5, "heron-slow-can": 5,
		"siskin-ragged": 5, "siskin+dropping-link": 6, "siskin+cheap-adapter": 6,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			clk := clock.NewStepped(epoch)
			s, err := sim.Open(name, 1, clk)
			require.NoError(t, err)
			a, err := elm.Connect(context.Background(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }})
			require.NoError(t, err)
			defer a.Close()
			caps, err := vehicle.Discover(context.Background(), a)
			require.NoError(t, err)
			cylinders := len(s.Car.Vehicle().FiringOrder)
			require.Equal(t, cylinders, caps.Cylinders())
			layout, err := engine.Plain(cylinders)
			require.NoError(t, err)
			tally := misfire.NewTally(misfire.Config{Engine: layout})
			end := clk.Now().Add(minutes * time.Minute)
			err = vehicle.NewPoller(a, caps, clk).Run(context.Background(), func(sample *obd.Sample) error {
				tally.Add(sample)
				if !sample.Received.Before(end) {
					return errOver
				}
				return nil
			})
			require.ErrorIs(t, err, errOver)
			tally.Finish()
			summary := tally.Summary()
			truth, counted, shown := s.Car.Truth(), summary.Unknown.Misses, 0
			for _, c := range summary.Total {
				counted, shown = counted+int(c.Misses), shown+int(truth.Shown(c.Cylinder))
				assert.LessOrEqual(t, c.Misses, float64(truth.Shown(c.Cylinder)), "cylinder %d", c.Cylinder)
				assert.Greater(t, c.Firings, 800.0)
			}
			assert.Greater(t, shown, 40, "there is something to count")
			if strings.Contains(name, "cheap") { // it is found late: some ran before the first reading
				assert.Greater(t, counted, shown*3/4)
				return
			}
			assert.Equal(t, shown, counted, "all that the car shows, of the cylinders or, where the link was away, of nobody knows which condition")
		})
	}
}
