package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/guide"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/obd/sim/car"
	"stumble/views"
)

// balanceOn runs a balance test on a simulated car, and returns its result and the events before it.
func balanceOn(t testing.TB, scenario string, seed int, more ...string) (result map[string]any, events []map[string]any) {
	t.Helper()
	args := []string{"watch", "--balance", "--yes", "--json", "--port", "sim:" + scenario, "--speed", "max", "--seed", fmt.Sprint(seed)}
	o := stepped(t, append(args, more...)...)
	requireDone(t, o)
	for line := range strings.Lines(o.out) {
		var object map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &object))
		switch object["kind"] {
		case "balance_step":
			events = append(events, object)
		case "balance":
			require.Nil(t, result, "one result, the last line")
			result = object
		default:
			require.Contains(t, []any{"sample", "notice", "mark"}, object["kind"])
			require.Nil(t, result)
		}
	}
	require.NotNil(t, result)
	return result, events
}

// The weakest cylinder is named, on each seed, and on a healthy engine none. Never is a cylinder off for longer than the
// ten seconds of trade-checks ("common practice, no source").
func TestBalanceNamesTheWeakest(t *testing.T) {
	seeds := 6
	if testing.Short() {
		seeds = 2
	}
	for _, c := range []struct {
		scenario string
		weak     []any
		more     []string
	}{
		{"dead-cylinder", []any{4.0}, nil},
		{"plover-compression", []any{4.0}, nil},
		{"healthy", []any{}, nil},
		{"wren-bursty", []any{}, nil},
		{"curlew-lean-bank", []any{}, nil},
		{"rook-vpw", []any{}, []string{"--engine", "4"}},
	} {
		t.Run(c.scenario, func(t *testing.T) {
			for seed := range seeds {
				result, events := balanceOn(t, c.scenario, seed+1, c.more...)
				assert.Equal(t, c.weak, result["weak"], "seed %d: %s", seed, result["sentence"])
				if len(c.weak) == 0 {
					assert.Contains(t, result["sentence"], "No cylinder stands out", "seed %d", seed)
				}
				for _, e := range events {
					assert.NotEqual(t, "late", e["event"], "seed %d", seed)
				}
			}
		})
	}
}

// What is measured is kept as bench readings of the job and a note. The drive is not: its misses are the test's own.
func TestBalanceIsKept(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "intake --port sim:dead-cylinder").status)
	o := simulated(t, path, "watch --balance --yes --plain --port sim:dead-cylinder")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.errs, "saved in job 1, 4 bench readings; 'stumble bench --job 1' lists them")
	assert.Contains(t, o.out, "Cylinder 4 gives little work")
	assert.NotContains(t, o.out, "NOT SAVED")
	inJournal(t, path, func(j *journal.Journal) {
		readings, err := j.BenchReadings(1)
		require.NoError(t, err)
		require.Len(t, readings, 4)
		assert.Equal(t, "balance drop rpm", strings.Join([]string{readings[0].Kind, readings[0].Quantity, readings[0].Unit}, " "))
		drives, err := j.Drives(1)
		require.NoError(t, err)
		assert.Empty(t, drives)
		notes, err := j.Notes(1)
		require.NoError(t, err)
		assert.Contains(t, notes[len(notes)-1].Text, "balance test: Cylinder 4 gives little work")
	})
	o = benchOf(t, path, "")
	requireDone(t, o)
	assert.Contains(t, o.out, "Bad: balance drop of cylinder 4.")
	assert.Contains(t, o.out, "±")
}

// Read aloud: the cautions first, each cylinder asked for by its number, counted down, and asked to be plugged in.
func TestBalanceAloud(t *testing.T) {
	o := stepped(t, "watch", "--balance", "--yes", "--plain", "--port", "sim:healthy", "--speed", "max")
	requireDone(t, o)
	assert.Contains(t, o.out, "Never pull a plug wire or a coil of a\n  running engine")
	for cylinder := 1; cylinder <= 4; cylinder++ {
		for _, words := range []string{"NOW: unplug the injector of cylinder %d, then press Enter (cut", "PLUG IN AGAIN: plug the injector of cylinder %d in again", "FALL: cylinder %d moves the idle by "} {
			assert.Contains(t, o.out, fmt.Sprintf(words, cylinder))
		}
	}
	assert.Contains(t, o.out, "END: every cylinder was cut\n")
	assert.Contains(t, o.out, "cyl  cuts  fall, rpm")
	for line := range strings.Lines(o.out[strings.Index(o.out, "END: "):]) {
		assert.LessOrEqual(t, len(line), textWidth+1, line)
	}
}

func TestBalanceUsage(t *testing.T) {
	requireOneLine(t, stepped(t, "watch", "--port", "sim", "--plain", "--rounds", "2"), statusUsage, "--rounds and --yes are for --balance")
	requireOneLine(t, stepped(t, "watch", "--port", "sim", "--plain", "--yes"), statusUsage, "--rounds and --yes are for --balance")
	requireOneLine(t, stepped(t, "watch", "--port", "sim", "--plain", "--balance", "--rounds", "10"), statusUsage, "--rounds 10 cannot be: give 1 to 9")
	requireOneLine(t, stepped(t, "watch", "--port", "sim:rook", "--plain", "--balance", "--yes", "--speed", "max"), statusUsage, "how many cylinders there are to cut")
}

// A technician of flesh: the keys tell what was done, on a car that the program does not move.
func TestBalanceByKeys(t *testing.T) {
	var out, errs buffer
	a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
	target, err := a.target(&where{port: "sim:wren-running", speed: speed{most: true}})
	require.NoError(t, err)
	d, err := a.startDrive(target, misfire.Config{}, &watchOptions{length: duration{time.Hour}}, nil)
	require.NoError(t, err)
	t.Cleanup(d.car.Close)
	moved := target.sim.Car
	target.sim = nil // nobody simulated helps
	b, err := d.balances(1, target)
	require.NoError(t, err)
	moved.Do(d.Now(), car.ParkIdle, 0)
	var alerts []string
	plugged := 0
	err = d.Run(a.ctx, 250*time.Millisecond, d.showing(func(s *views.State) error {
		status := b.Status()
		if s.Alert != "" {
			alerts = append(alerts, s.Alert)
		}
		if status == nil {
			return nil
		}
		assert.Equal(t, "a test, not recorded", s.Health.Recording)
		switch status.Ask {
		case guide.AskUnplug:
			require.NoError(t, moved.Unplug(d.Now(), status.Cylinder))
			d.Confirm()
		case guide.AskPlugIn:
			if status.Off > 6*time.Second {
				require.NoError(t, moved.PlugIn(d.Now(), status.Cylinder))
				d.Confirm()
				plugged++
			}
		}
		return nil
	}))
	require.ErrorIs(t, err, job.ErrTimeUp)
	state := d.finish()
	assert.GreaterOrEqual(t, plugged, 4)
	assert.Equal(t, guide.Compared, b.result().Finding)
	assert.Empty(t, append(b.result().Weak, b.result().Doubtful...))
	assert.Contains(t, alerts, "PLUG CYLINDER 1 IN AGAIN: 5 s left")
	assert.Zero(t, state.Second)
}

// On the screen: the step, the key, the loud line; x stops, and the result is printed.
func TestBalanceOnTheScreen(t *testing.T) {
	screen := &glass{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}
	var out, errs buffer
	a := program(t.Context(), clock.System{}, &out, &errs)
	a.terminal = screen
	done := make(chan int, 1)
	go func() {
		done <- a.run([]string{"watch", "--balance", "--port", "sim:healthy", "--speed", "20", "--yes"})
	}()
	shows := func(words string) {
		t.Helper()
		require.Eventually(t, func() bool { return strings.Contains(screen.text(), words) }, time.Minute, time.Millisecond, words)
	}
	shows("Balance test: the misses below are those of the cylinders that are cut.")
	shows("Enter unplugged")
	shows("PLUG CYLINDER 1 IN AGAIN")
	shows("Step 2 of 4: cylinder 2")
	screen.InjectKey(tcell.KeyRune, 'x', tcell.ModNone)
	require.Equal(t, statusDone, <-done, errs.String())
	assert.Contains(t, out.String(), "Too few cylinders were cut to compare them")
}
