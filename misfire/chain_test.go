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

// ride is a simulated car reached the long way: simulated adapter, dialogue, poller.
type ride struct {
	*testing.T
	clk     *clock.Stepped
	sim     *sim.Simulation
	adapter *elm.Adapter
	caps    *vehicle.Capabilities
}

// setOff reaches a scenario's car.
func setOff(t *testing.T, scenario string, seed uint64) *ride {
	t.Helper()
	r := &ride{T: t, clk: clock.NewStepped(epoch)}
	var err error
	r.sim, err = sim.Open(scenario, seed, r.clk)
	require.NoError(t, err)
	dial := func(ctx context.Context) (elm.Link, error) { return r.sim.Dial(ctx) }
	r.adapter, err = elm.Connect(context.Background(), elm.Config{Clock: r.clk, Dial: dial})
	require.NoError(t, err)
	t.Cleanup(func() { r.adapter.Close() })
	r.caps, err = vehicle.Discover(context.Background(), r.adapter)
	require.NoError(t, err)
	return r
}

// plain is an engine of as many cylinders as the car tells counts of.
func (r *ride) plain() (layout engine.Layout) {
	r.Helper()
	var err error
	if n := r.caps.Cylinders(); n > 0 {
		layout, err = engine.Plain(n)
		require.NoError(r, err)
	}
	return layout
}

// count drives the car for so long; before, which may be nil, sees each sample before it is counted.
func (r *ride) count(tally *misfire.Tally, length time.Duration, before func(*obd.Sample)) *misfire.Summary {
	r.Helper()
	end := r.clk.Now().Add(length)
	err := vehicle.NewPoller(r.adapter, r.caps, r.clk).Run(context.Background(), func(sample *obd.Sample) error {
		if before != nil {
			before(sample)
		}
		tally.Add(sample)
		if !sample.Received.Before(end) {
			return errOver
		}
		return nil
	})
	require.ErrorIs(r, err, errOver)
	tally.Finish()
	return tally.Summary()
}

func chain(t *testing.T, scenario string, length time.Duration) *misfire.Summary {
	t.Helper()
	return chainOf(t, scenario, 1, length)
}

func chainOf(t *testing.T, scenario string, seed uint64, length time.Duration) *misfire.Summary {
	t.Helper()
	r := setOff(t, scenario, seed)
	tally := misfire.NewTally(misfire.Config{Engine: r.plain()})
	tally.SetLimits(r.caps.CatalystLimit, r.caps.EmissionLimit)
	lever := gear.Unknown
	return r.count(tally, length, func(sample *obd.Sample) {
		if g := inGear(r.sim.Car.State(sample.Received).Gear); g != lever {
			lever = g
			tally.Mark(sample.Received, g)
		}
	})
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
