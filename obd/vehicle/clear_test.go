package vehicle

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
)

// tap is a link that keeps the lines written to it.
type tap struct {
	elm.Link
	lines *strings.Builder
}

func (l tap) Write(p []byte) (int, error) {
	l.lines.Write(p)
	return l.Link.Write(p)
}

// On every simulated car, behind every adapter: whatever is read, services 04 and 14 are not sent; by Clear it is once, or
// where the engine runs or a condition is not met not at all.
func TestOnlyClearClears(t *testing.T) {
	for _, scenario := range sim.Scenarios() {
		t.Run(scenario.Name, func(t *testing.T) {
			t.Parallel()
			clk := clock.NewStepped(morning)
			s, err := sim.Open(scenario.Name, 1, clk)
			require.NoError(t, err)
			var lines strings.Builder
			sent := func() int {
				return strings.Count("\r"+lines.String(), "\r04") + strings.Count("\r"+lines.String(), "\r14")
			}
			adapter, err := elm.Connect(t.Context(), elm.Config{Clock: clk, Patience: time.Minute, Dial: func(ctx context.Context) (elm.Link, error) {
				l, err := s.Dial(ctx)
				return tap{l, &lines}, err
			}})
			require.NotNil(t, adapter, "%v", err)
			defer adapter.Close()
			if err != nil {
				_, err = adapter.Permit(t.Context(), elm.Conditions{EvidenceSaved: true, Confirmed: "CLEAR"})
				require.ErrorIs(t, err, elm.ErrNoPermission, "nobody tells the engine speed")
				assert.Zero(t, sent())
				return
			}
			caps, err := Discover(t.Context(), adapter)
			require.NoError(t, err)
			stands := false
			clear := func(conditions elm.Conditions) error {
				leave, err := adapter.Permit(t.Context(), conditions)
				stands = err == nil
				_, e := adapter.Clear(t.Context(), leave)
				return errors.Join(err, e)
			}
			require.ErrorIs(t, clear(elm.Conditions{EvidenceSaved: true}), elm.ErrNoPermission)
			require.ErrorIs(t, clear(elm.Conditions{Confirmed: "CLEAR"}), elm.ErrNoPermission)
			_, err = adapter.Do(t.Context(), obd.NewRequest(obd.ClearCodes))
			require.ErrorIs(t, err, elm.ErrForbidden)
			_, err = adapter.Do(t.Context(), obd.NewRequest(obd.ClearGroup, 0xFF, 0xFF, 0x33))
			require.ErrorIs(t, err, elm.ErrForbidden)
			_, err = ReadIntake(t.Context(), adapter, adapter, caps, nil)
			require.NoError(t, err)
			end := clk.Now().Add(20 * time.Second)
			err = NewPoller(adapter, caps, clk).Run(t.Context(), func(sample *obd.Sample) error {
				if sample.Received.After(end) {
					return errOver
				}
				return nil
			})
			require.ErrorIs(t, err, errOver)
			require.Zero(t, sent())

			err = clear(elm.Conditions{EvidenceSaved: true, Confirmed: "CLEAR"})
			_, _ = ReadCodes(t.Context(), adapter, caps) // what comes after repeats nothing either
			if scenario.Name == "engine-off" {
				require.NoError(t, err)
			}
			if !stands || errors.Is(err, elm.ErrNoPermission) {
				assert.Zero(t, sent(), "%v", err)
				return
			}
			assert.Equal(t, 1, sent(), "%v", err)
		})
	}
}
