package misfire_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/vehicle"
)

var errOver = errors.New("the trip is over")

// chain drives a scenario the long way: simulated adapter, dialogue, poller.
func chain(t *testing.T, scenario string, length time.Duration) *misfire.Summary {
	t.Helper()
	return chainOf(t, scenario, 1, length)
}

func chainOf(t *testing.T, scenario string, seed uint64, length time.Duration) *misfire.Summary {
	t.Helper()
	clk := clock.NewStepped(epoch)
	s, err := sim.Open(scenario, seed, clk)
	require.NoError(t, err)
	a, err := elm.Connect(context.Background(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }})
	require.NoError(t, err)
	defer a.Close()
	caps, err := vehicle.Discover(context.Background(), a)
	require.NoError(t, err)
	cfg := misfire.Config{}
	if n := caps.Cylinders(); n > 0 {
		cfg.Engine, err = engine.Plain(n)
		require.NoError(t, err)
	}
	tally := misfire.NewTally(cfg)
	tally.SetLimits(caps.CatalystLimit, caps.EmissionLimit)
	end := clk.Now().Add(length)
	lever := gear.Unknown
	err = vehicle.NewPoller(a, caps, clk).Run(context.Background(), func(sample *obd.Sample) error {
		if g := inGear(s.Car.State(sample.Received).Gear); g != lever {
			lever = g
			tally.Mark(sample.Received, g)
		}
		tally.Add(sample)
		if !sample.Received.Before(end) {
			return errOver
		}
		return nil
	})
	require.ErrorIs(t, err, errOver)
	tally.Finish()
	return tally.Summary()
}

func TestThroughAdapterAndPoller(t *testing.T) {
	s := chain(t, "wren", 10*time.Minute)
	assert.Equal(t, []int{2}, s.Verdict.Cylinders)
	assert.Equal(t, 200.0, s.Refresh.Revolutions)
	assert.Greater(t, s.Verdict.WorseIn, gear.ParkNeutral)
	assert.Len(t, s.Averages, 4)
	assert.Empty(t, s.Idle)
}

func TestPercentagesAndLimitsOfTheCar(t *testing.T) {
	s := chain(t, "wren-percent", 4*time.Minute)
	assert.True(t, s.Whole.Catalyst.Reported)
	assert.True(t, s.Whole.Emission.Reported)
	assert.Positive(t, s.Whole.Catalyst.Blocks)
}

// On the older buses there are no counts; the idle speaks, and weakly.
func TestOlderCarWithoutCounts(t *testing.T) {
	s := chain(t, "rook-kwp", 10*time.Minute)
	assert.Empty(t, s.Total)
	assert.Empty(t, s.Verdict.Cylinders)
	require.NotEmpty(t, s.Idle)
	assert.Equal(t, misfire.Uncounted, s.Verdict.Finding)
	assert.Greater(t, s.Running, 8*time.Minute)
}

// No cylinder loses its first window to the order in which the counters are read.
func TestCylindersCountAlikeFromTheFirstReading(t *testing.T) {
	for seed := range uint64(10) {
		s := chainOf(t, "wren", seed, 2*time.Minute)
		for _, c := range s.Total {
			require.Equal(t, s.Total[0].Firings, c.Firings, "seed %d, cylinder %d", seed, c.Cylinder)
		}
	}
}
