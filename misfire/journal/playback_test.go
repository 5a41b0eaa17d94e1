package journal_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/vehicle"
)

// A simulated drive is tallied live and recorded, raw exchanges too; played back, it comes to the same summary.
func TestPlaybackTalliesTheSame(t *testing.T) {
	j := fresh(t)
	clk := clock.NewStepped(morning)
	s, err := sim.Open("", 1, clk)
	require.NoError(t, err)
	var r *journal.Recorder
	a, err := elm.Connect(t.Context(), elm.Config{
		Clock: clk,
		Dial:  func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) },
		Observe: func(e *obd.Exchange) {
			if r != nil {
				r.Exchange(e)
			}
		},
	})
	require.NoError(t, err)
	defer a.Close()
	caps, err := vehicle.Discover(t.Context(), a)
	require.NoError(t, err)
	layout, err := engine.Plain(caps.Cylinders())
	require.NoError(t, err)
	r, err = j.StartDrive(journal.DriveInfo{
		Vehicle: journal.Vehicle{Name: "Larkspur Wren"}, Started: clk.Now(), Adapter: a.Identity(), Protocol: a.Protocol(),
		Engine: layout, Catalyst: caps.CatalystLimit, Emission: caps.EmissionLimit,
	})
	require.NoError(t, err)

	live := misfire.NewTally(misfire.Config{Engine: layout})
	live.SetLimits(caps.CatalystLimit, caps.EmissionLimit)
	over := errors.New("over")
	n := 0
	err = vehicle.NewPoller(a, caps, clk).Run(t.Context(), func(sample *obd.Sample) error {
		if n%1000 == 500 {
			live.Mark(sample.Received, gear.Drive)
			r.Mark(sample.Received, gear.Drive, "")
		}
		live.Add(sample)
		r.Sample(sample)
		if n++; clk.Now().After(morning.Add(3 * time.Minute)) {
			return over
		}
		return nil
	})
	require.ErrorIs(t, err, over)
	live.Finish()
	require.NoError(t, r.Finish([]byte(`{}`)))

	d, err := j.Drive(r.ID())
	require.NoError(t, err)
	assert.Equal(t, n, d.Samples)
	assert.GreaterOrEqual(t, d.Exchanges, n)
	again := misfire.NewTally(misfire.Config{Engine: d.Engine, Map: d.Map})
	again.SetLimits(d.Catalyst, d.Emission)
	require.NoError(t, j.Play(d.ID, func(e journal.Event) error {
		if e.Sample != nil {
			again.Add(e.Sample)
		} else {
			again.Mark(e.Mark.At, e.Mark.Gear)
		}
		return nil
	}))
	again.Finish()
	want, got := live.Summary(), again.Summary()
	assert.Positive(t, want.Running)
	assert.Equal(t, fmt.Sprintf("%+v", want), fmt.Sprintf("%+v", got)) // as text: unknown numbers equal themselves so
}
