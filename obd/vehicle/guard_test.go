package vehicle

import (
	"context"
	"encoding/hex"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/link"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
)

// watchedBus is the car's socket with the test's eye on it: what an adapter makes of what it is sent is what counts.
type watchedBus struct {
	*car.Car
	asked map[string]int // requests by their service, in hexadecimal
	odd   []string       // those nobody may send
}

func (b *watchedBus) Request(dst []car.Answer, at time.Time, node byte, request []byte) []car.Answer {
	text := strings.ToUpper(hex.EncodeToString(request))
	service := text[:2]
	b.asked[service]++
	switch service {
	case "01", "02", "03", "06", "07", "09", "0A":
	case "22", "19":
		if !permitted.MatchString(text) {
			b.odd = append(b.odd, text)
		}
	default:
		b.odd = append(b.odd, text)
	}
	return b.Car.Request(dst, at, node, request)
}

// impatient is a link that is cut in the middle of what is written, and loses what follows.
type impatient struct {
	link.Link
	writes *int
}

func (l impatient) Write(p []byte) (int, error) {
	if *l.writes++; *l.writes%97 == 0 && len(p) > 3 {
		_, _ = l.Link.Write(p[:len(p)-2])
		_ = l.Link.Close()
		return len(p) - 2, link.ErrGone
	}
	return l.Link.Write(p)
}

// Whatever befalls adapter and connection, only reading services ever reach the bus: not even as the rest of a line
// whose beginning got lost.
func TestOnlyReadingServicesReachTheBus(t *testing.T) {
	alarms := func(kind sim.FaultKind, every time.Duration) (out []sim.Fault) {
		for at := every; at < 10*time.Minute; at += every {
			out = append(out, sim.Fault{After: at, Kind: kind})
		}
		return out
	}
	for name, test := range map[string]struct {
		scenario string
		cfg      sim.Config
		drops    sim.Drops
		cut      bool
		torn     bool // a reset may strike in the middle of a line: no dialogue can help what is left of that
	}{
		"faithful":          {scenario: "wren", cfg: sim.Config{Baud: 115200}},
		"cheap":             {scenario: "wren", cfg: sim.Config{Baud: 38400, Quirks: sim.CheapAdapter()}},
		"alerts":            {scenario: "wren", cfg: sim.Config{Baud: 115200, Faults: alarms(sim.ActivityAlert, 1777*time.Millisecond)}},
		"resets":            {scenario: "wren", cfg: sim.Config{Baud: 115200, Faults: alarms(sim.LowVoltageReset, 7331*time.Millisecond)}, torn: true},
		"CAN faults":        {scenario: "wren", cfg: sim.Config{Baud: 38400, Faults: alarms(sim.FatalCAN, 9973*time.Millisecond)}},
		"cheap, alerts":     {scenario: "wren", cfg: sim.Config{Baud: 38400, Quirks: sim.CheapAdapter(), Faults: alarms(sim.ActivityAlert, 3771*time.Millisecond)}},
		"slow radio":        {scenario: "wren", cfg: sim.Config{Baud: 115200, Latency: 60 * time.Millisecond, Quirks: sim.Quirks{LosesBytes: 0.01}}},
		"late prompts":      {scenario: "wren", cfg: sim.Config{Baud: 115200, Quirks: sim.Quirks{LatePrompt: 40 * time.Millisecond, DoublePrompt: 0.5}}},
		"drops":             {scenario: "wren", cfg: sim.Config{Baud: 115200}, drops: sim.Dropping(9 * time.Second)},
		"cut while writing": {scenario: "wren", cfg: sim.Config{Baud: 115200}, cut: true},
		"modern":            {scenario: "siskin", cfg: sim.Config{Baud: 115200}},
		"modern, cheap":     {scenario: "heron", cfg: sim.Config{Baud: 38400, Quirks: sim.CheapAdapter()}},
		"modern, CAN":       {scenario: "siskin-wide", cfg: sim.Config{Baud: 38400, Faults: alarms(sim.FatalCAN, 9973*time.Millisecond)}},
		"both, alerts":      {scenario: "siskin-both", cfg: sim.Config{Baud: 115200, Faults: alarms(sim.ActivityAlert, 1777*time.Millisecond)}},
		"both, resets":      {scenario: "siskin-both", cfg: sim.Config{Baud: 115200, Faults: alarms(sim.LowVoltageReset, 7331*time.Millisecond)}, torn: true},
		"both, radio":       {scenario: "siskin-both", cfg: sim.Config{Baud: 115200, Latency: 60 * time.Millisecond, Quirks: sim.Quirks{LosesBytes: 0.01}}},
		"both, drops":       {scenario: "siskin-both", cfg: sim.Config{Baud: 115200}, drops: sim.Dropping(9 * time.Second)},
		"both, cut":         {scenario: "siskin-both", cfg: sim.Config{Baud: 115200}, cut: true},
		"mixed, late":       {scenario: "siskin-old-gearbox", cfg: sim.Config{Baud: 115200, Quirks: sim.Quirks{LatePrompt: 40 * time.Millisecond, DoublePrompt: 0.5}}},
		"K-line, alerts":    {scenario: "rook", cfg: sim.Config{Baud: 38400, Faults: alarms(sim.ActivityAlert, 13171*time.Millisecond)}},
		"K-line, radio":     {scenario: "rook-kwp", cfg: sim.Config{Baud: 38400, Quirks: sim.Quirks{LosesBytes: 0.01}}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			clk := clock.NewStepped(morning)
			c, err := car.NewScenario(test.scenario, 1, morning)
			require.NoError(t, err)
			bus := &watchedBus{Car: c, asked: map[string]int{}}
			test.cfg.Bus, test.cfg.Seed = bus, 5
			dialer := sim.NewDialer(sim.NewAdapter(test.cfg), clk, test.drops)
			writes := 0
			adapter, err := elm.Connect(t.Context(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) {
				l, err := dialer.Dial(ctx)
				if err == nil && test.cut {
					l = impatient{l, &writes}
				}
				return l, err
			}})
			require.NoError(t, err)
			defer adapter.Close()
			caps, err := Discover(t.Context(), adapter)
			require.NoError(t, err)
			_, err = ReadIntake(t.Context(), adapter, adapter, caps, nil)
			require.NoError(t, err)
			end, samples := clk.Now().Add(3*time.Minute), 0
			err = NewPoller(adapter, caps, clk).Run(t.Context(), func(s *obd.Sample) error {
				if samples++; s.Received.After(end) {
					return errOver
				}
				return nil
			})
			require.ErrorIs(t, err, errOver)
			assert.Greater(t, samples, 200)
			if test.torn {
				assert.NotContains(t, bus.odd, "04")
			} else {
				assert.Empty(t, bus.odd)
			}
			if strings.Contains(name, "modern") {
				assert.NotZero(t, bus.asked["22"])
				assert.NotZero(t, bus.asked["19"])
				return
			}
			assert.NotZero(t, bus.asked["01"])
			assert.NotZero(t, bus.asked["03"])
		})
	}
}
