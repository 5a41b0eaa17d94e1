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
	"stumble/obd/counters"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
)

// By a user's table of counters its own requests reach the bus, and no others of their services, whatever befalls the
// adapter; without the table none of them does.
func TestOnlyTheTableIsAdded(t *testing.T) {
	table, err := counters.Parse("cylinder,request,header,bytes\n1,21 31,,1-2\n2,21 32,6810F1,1-2\n4,21 34,,1-2\n")
	require.NoError(t, err)
	for name, cfg := range map[string]sim.Config{
		"faithful": {Baud: 115200},
		"radio":    {Baud: 38400, Quirks: sim.Quirks{LosesBytes: 0.01}},
		"prompts":  {Baud: 38400, Quirks: sim.Quirks{LatePrompt: 40 * time.Millisecond, DoublePrompt: 0.5}},
		"alerts":   {Baud: 38400, Faults: []sim.Fault{{After: 20 * time.Second, Kind: sim.ActivityAlert}, {After: 70 * time.Second, Kind: sim.LowVoltageReset}}},
	} {
		for _, with := range []bool{true, false} {
			clk := clock.NewStepped(morning)
			c, err := car.NewScenario("rook", 1, morning)
			require.NoError(t, err)
			bus := &watchedBus{Car: c, asked: map[string]int{}}
			cfg.Bus, cfg.Seed = bus, 5
			dialer := sim.NewDialer(sim.NewAdapter(cfg), clk, sim.Drops{})
			adapter, err := elm.Connect(t.Context(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return dialer.Dial(ctx) }})
			require.NoError(t, err, name)
			caps, err := Discover(t.Context(), adapter)
			require.NoError(t, err)
			if with {
				caps.Counters = table
				require.NoError(t, adapter.Admit(table.Requests()))
			}
			_, err = ReadIntake(t.Context(), adapter, adapter, caps, nil)
			require.NoError(t, err)
			end, told := clk.Now().Add(2*time.Minute), map[byte]int{}
			err = NewPoller(adapter, caps, clk).Run(t.Context(), func(s *obd.Sample) error {
				for _, r := range s.Readings {
					if r.Service == obd.LocalData {
						told[r.ID-obd.MIDMisfire]++
					}
				}
				if s.Received.After(end) {
					return errOver
				}
				return nil
			})
			require.ErrorIs(t, err, errOver)
			for _, request := range bus.odd {
				assert.True(t, with && (request == "2131" || request == "2132" || request == "2134"), "%s: %s", name, request)
			}
			if with {
				assert.Len(t, told, 3, name)
				for cylinder, n := range told {
					assert.Greater(t, n, 20, "%s, cylinder %d", name, cylinder)
				}
			} else {
				assert.Empty(t, told)
			}
			_, err = adapter.Do(t.Context(), obd.NewRequest(obd.LocalData, 0x33))
			require.True(t, errors.Is(err, elm.ErrForbidden))
			require.NoError(t, adapter.Close())
		}
	}
}

// What comes of each counter is told once: bytes, value, or why there is none.
func TestReadCounters(t *testing.T) {
	table, err := counters.Parse("cylinder,request,bytes\n1,21 31,1-2\n2,21 32,1\n3,21 33,4\n4,21 34,1\n")
	require.NoError(t, err)
	s := newScript(t, obd.CAN11At500, map[string]string{"2131": "7E8=6131002A", "2132": "7E8=7F2131", "2133": "7E8=613301"})
	read, err := ReadCounters(t.Context(), s, table)
	require.NoError(t, err)
	require.Len(t, read, 4)
	assert.NoError(t, read[0].Err)
	assert.Equal(t, 42.0, read[0].Value)
	assert.Equal(t, []byte{0, 0x2A}, read[0].Raw)
	var refused obd.NegativeResponse
	assert.ErrorAs(t, read[1].Err, &refused)
	assert.Error(t, read[2].Err)
	assert.Equal(t, []byte{0x61, 0x33, 1}, read[2].Answer)
	assert.ErrorIs(t, read[3].Err, elm.NoData)
	assert.Equal(t, []string{"2131", "2132", "2133", "2134"}, strings.Fields(strings.Join(s.asked, " ")))
}
