package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
	"stumble/obd/sim/car"
)

// running is a run of the program that goes on until it is left.
type running struct {
	first string // what it wrote first
	leave func() outcome
}

// start runs do with a program by a clock, and waits for the first thing it writes.
func start(t *testing.T, clk clock.Clock, do func(*app) int) running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	var out, errs buffer
	first := &announced{buffer: &out, line: make(chan string, 1)}
	a := newApp(ctx, strings.NewReader(""), first, &errs)
	a.env, a.clock, a.terminal = environment(nil), clk, systemTerminal{}
	ended := make(chan outcome, 1)
	go func() {
		status := do(a)
		ended <- outcome{status, out.String(), errs.String()}
	}()
	select {
	case line := <-first.line:
		return running{line, func() outcome { cancel(); return <-ended }}
	case o := <-ended:
		cancel()
		require.FailNow(t, "it ended without a word", "%+v", o)
		return running{}
	}
}

// announced passes on the first thing that is written.
type announced struct {
	*buffer
	line chan string
}

func (a *announced) Write(p []byte) (int, error) {
	select {
	case a.line <- string(p):
	default:
	}
	return a.buffer.Write(p)
}

// portIn is the port that simulate tells to use.
func portIn(t testing.TB, line string) string {
	t.Helper()
	found := regexp.MustCompile(`watch it with: stumble watch --port (\S+)\n$`).FindStringSubmatch(line)
	require.NotNil(t, found, "%q", line)
	return found[1]
}

// truthIn is what really happened in a served car.
func truthIn(t *testing.T, path string) (o truthObject) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &o))
	require.Equal(t, "truth", o.Kind)
	return o
}

// Through a real connection as through the built-in one, the drive counts what the controller showed: no miss is
// lost and none is counted twice. This car misses under load only, and the drive ends at idle, so that no counter moves
// at its end.
func TestServedCar(t *testing.T) {
	for name, listen := range map[string]string{"TCP": "127.0.0.1:0", "serial": ""} {
		t.Run(name, func(t *testing.T) {
			if listen == "" && runtime.GOOS == "windows" {
				t.Skip("Windows has no pseudo-terminals")
			}
			clk := clock.NewScaled(40)
			served := &target{clock: clk}
			require.NoError(t, served.simulate("fuel-supply", 1))
			server := start(t, clk, func(a *app) int { return a.report("simulate", a.serve(served.sim, clk, listen)) })
			go func() {
				clk.SleepUntil(clk.Now().Add(25*time.Second), t.Context().Done())
				served.sim.Car.Do(clk.Now(), car.Pull, 35*time.Second)
				clk.SleepUntil(clk.Now().Add(35*time.Second), t.Context().Done())
				served.sim.Car.Do(clk.Now(), car.ParkIdle, 0)
			}()
			o := stumbleAt(t.Context(), clk, "watch", "--port", portIn(t, server.first), "--for", "100s", "--json")
			path := filepath.Join(t.TempDir(), "truth.json")
			require.NoError(t, writeTruth(path, served.sim, clk))
			requireDone(t, server.leave())
			requireDone(t, o)

			truth := truthIn(t, path)
			lines := jsonLines(t, o.out)
			total := lines[len(lines)-1]["total"].([]any)
			require.Len(t, total, len(truth.Cylinders))
			for i, c := range truth.Cylinders {
				counted := total[i].(map[string]any)
				assert.EqualValues(t, c.Cylinder, counted["cylinder"])
				assert.EqualValues(t, c.Shown, counted["misses"], "cylinder %d", c.Cylinder)
				assert.NotZero(t, c.Shown, "there was something to count")
				assert.LessOrEqual(t, c.Shown, c.Counted)
			}
		})
	}
}

// The command serves until it is left, and then writes what happened.
func TestSimulateTellsTheTruth(t *testing.T) {
	clk := clock.NewScaled(100)
	path := filepath.Join(t.TempDir(), "truth.json")
	server := start(t, clk, func(a *app) int {
		return a.run([]string{"simulate", "dead-cylinder", "--listen", "127.0.0.1:0", "--truth", path})
	})
	requireDone(t, stumbleAt(t.Context(), clk, "watch", "--port", portIn(t, server.first), "--for", "60s", "--plain"))
	requireDone(t, server.leave())

	truth := truthIn(t, path)
	require.Len(t, truth.Cylinders, 4)
	dead := truth.Cylinders[3]
	assert.NotZero(t, dead.Misses)
	assert.Equal(t, dead.Firings, dead.Misses, "a dead cylinder misses every time")
	assert.NotEmpty(t, truth.Cells)
	for _, cell := range truth.Cells {
		assert.Equal(t, "P/N", cell.Gear)
		assert.Len(t, cell.Misses, 4)
	}
}

// Two programs at one adapter would spoil each other's answers: the second is turned away and told why.
func TestSecondClientIsTurnedAway(t *testing.T) {
	clk := clock.NewScaled(40)
	server := start(t, clk, func(a *app) int { return a.run([]string{"simulate", "--listen", "127.0.0.1:0"}) })
	port := portIn(t, server.first)
	client := start(t, clk, func(a *app) int { return a.run([]string{"watch", "--port", port, "--plain"}) })
	requireOneLine(t, stumbleAt(t.Context(), clk, "codes", "--port", port), statusFailed, "another program may be using the adapter")
	requireDone(t, client.leave())
	requireDone(t, server.leave())
}

func TestCannotServe(t *testing.T) {
	server := start(t, clock.System{}, func(a *app) int { return a.run([]string{"simulate", "--listen", "127.0.0.1:0"}) })
	taken := strings.TrimPrefix(portIn(t, server.first), "tcp://")
	requireOneLine(t, stumble(t, "simulate", "--listen", taken), statusFailed, "cannot serve on "+taken, "choose another address or port")
	requireOneLine(t, stumble(t, "simulate", "--listen", "nowhere"), statusFailed, "choose another address or port")
	requireDone(t, server.leave())

	unwritable := filepath.Join(t.TempDir(), "none", "truth.json")
	server = start(t, clock.System{}, func(a *app) int {
		return a.run([]string{"simulate", "--listen", "127.0.0.1:0", "--truth", unwritable})
	})
	o := server.leave()
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.errs, "choose another file")
}
