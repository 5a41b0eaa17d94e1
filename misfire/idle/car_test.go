package idle_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/idle"
	"stumble/obd"
	"stumble/obd/sim/car"
)

// seen is what the index says of one gear state, and what the simulated car knows.
type seen struct {
	dips             int
	low, high        float64 // a minute
	minutes          float64
	rate, trueMisses float64 // a minute
}

// idles drives a simulated car for twenty minutes, asked for one PID after another as on the K-line: engine
// speed four times of five, road speed the fifth.
func idles(t *testing.T, cfg car.Config, seed uint64, every time.Duration) map[gear.State]seen {
	t.Helper()
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	c, err := car.New(cfg, seed, start)
	require.NoError(t, err)
	states := map[car.GearState]gear.State{
		car.ParkNeutral: gear.ParkNeutral, car.DriveAtRest: gear.Drive, car.Reverse: gear.Reverse, car.Moving: gear.Moving,
	}
	var x idle.Index
	var answers []car.Answer
	var s obd.Sample
	for i := range int(20 * time.Minute / every) {
		at := start.Add(time.Duration(i) * every)
		pid := obd.PIDRPM
		if i%5 == 0 {
			pid = obd.PIDSpeed
		}
		s.Sent, s.Received, s.Readings = at, at, s.Readings[:0]
		answers = c.Request(answers[:0], at, car.EngineNode, obd.Live(pid).Append(nil))
		for _, a := range answers {
			s.Readings, err = obd.AppendLive(s.Readings, obd.Message{Module: obd.Module{ID: uint32(a.Module), Bits: 8}, Data: a.Data})
			require.NoError(t, err)
		}
		x.Add(&s, states[c.State(at).Gear])
	}
	out := make(map[gear.State]seen)
	truth := c.Truth()
	for _, g := range []car.GearState{car.ParkNeutral, car.DriveAtRest} {
		var misses, running float64
		for cylinder := range cfg.Vehicle.Cylinders() {
			for _, cell := range truth.Cells {
				if cell.Gear == g && cell.RPM < 1200 {
					tally := cell.Cylinders[cylinder]
					misses += float64(tally.Misses)
					running += float64(tally.Firings) / float64(cfg.Vehicle.Cylinders()) / (float64(cell.RPM+25) / 2)
				}
			}
		}
		var r seen
		r.dips, r.minutes, r.low, r.high = x.PerMinute(states[g])
		r.rate, r.trueMisses = float64(r.dips)/r.minutes, misses/running
		out[states[g]] = r
	}
	return out
}

func scenario(t *testing.T, name string) car.Config {
	t.Helper()
	for _, s := range car.Scenarios() {
		if s.Name == name {
			return s.Config
		}
	}
	t.Fatalf("no scenario %q", name)
	return car.Config{}
}

// The truth is the simulated car's own count of misses.
func TestDipsFollowMissesOnTheSimulatedCar(t *testing.T) {
	for _, every := range []time.Duration{60 * time.Millisecond, 120 * time.Millisecond, 250 * time.Millisecond} {
		t.Run(every.String(), func(t *testing.T) {
			for seed := range uint64(6) {
				broken := idles(t, scenario(t, "rook"), seed, every)
				sound := idles(t, scenario(t, "rook-repaired"), seed, every)
				park, drive := broken[gear.ParkNeutral], broken[gear.Drive]
				t.Logf("seed %d: P/N %.1f dips a minute (%.1f misses), D %.1f (%.1f misses); repaired P/N %.1f, D %.1f",
					seed, park.rate, park.trueMisses, drive.rate, drive.trueMisses, sound[gear.ParkNeutral].rate, sound[gear.Drive].rate)
				require.Greater(t, drive.trueMisses, 5*park.trueMisses, "the broken wire misses in drive")
				assert.Greater(t, drive.rate, 2*park.rate, "more dips where there are more misses")
				if every < 200*time.Millisecond {
					assert.Greater(t, drive.low, park.high, "beyond chance, when asked often enough")
				}
				assert.Less(t, sound[gear.Drive].rate, 0.6, "near none when sound")
				assert.Less(t, sound[gear.ParkNeutral].rate, 1.0, "near none when sound")
				assert.LessOrEqual(t, drive.rate, 1.2*drive.trueMisses+0.6, "no more dips than misses")
			}
		})
	}
}

// More misses, more dips: the order of several faults is kept.
func TestDipsRankFaults(t *testing.T) {
	var last float64
	for _, scale := range []float64{0, 0.25, 0.5, 1, 2} {
		cfg := scenario(t, "rook")
		cfg.Faults = []car.Fault{car.PlugWire{Cylinder: 2, Scale: scale}}
		if scale == 0 {
			cfg.Faults = nil
		}
		got := idles(t, cfg, 11, 100*time.Millisecond)[gear.Drive]
		t.Logf("scale %.2f: %.2f dips a minute, %.2f misses", scale, got.rate, got.trueMisses)
		assert.GreaterOrEqual(t, got.rate, last)
		last = got.rate
	}
	assert.Greater(t, last, 5.0)
}

// A cylinder that never fires makes an even idle: the index must not be read as health.
func TestADeadCylinderShowsNoDips(t *testing.T) {
	cfg := scenario(t, "rook")
	cfg.Faults = []car.Fault{car.Dead{Cylinder: 1}}
	got := idles(t, cfg, 2, 120*time.Millisecond)[gear.Drive]
	assert.Greater(t, got.trueMisses, 300.0)
	assert.Less(t, got.rate, 1.0)
}
