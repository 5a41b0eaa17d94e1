package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
	"stumble/views/wire"
)

// running is a run of the program that goes on until it is left.
type running struct {
	out   *buffer
	leave func() outcome
}

// start runs do with a program by a clock, and waits until it has written a line.
func start(t *testing.T, clk clock.Clock, do func(*app) int) running {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	var out, errs buffer
	ended := make(chan outcome, 1)
	go func() {
		status := do(program(ctx, clk, &out, &errs))
		out.end()
		ended <- outcome{status, out.String(), errs.String()}
	}()
	if !out.await(func(text string) bool { return strings.Contains(text, "\n") }) {
		cancel()
		require.FailNow(t, "it ended without a word", "%+v", <-ended)
	}
	return running{&out, func() outcome { cancel(); return <-ended }}
}

// portOf is the port that simulate tells to use.
func portOf(t testing.TB, server running) string {
	t.Helper()
	found := regexp.MustCompile(`watch it with: stumble watch --port (\S+)\n$`).FindStringSubmatch(server.out.String())
	require.NotNil(t, found, "%q", server.out.String())
	return found[1]
}

// truthIn is what really happened in a served car.
func truthIn(t *testing.T, path string) (o wire.Truth) {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &o))
	require.Equal(t, "truth", o.Kind)
	return o
}

// Through a real connection as through the built-in one, the drive counts what the controller showed: no miss is
// lost and none is counted twice. This car misses under load only, so that no counter moves once it idles. The clock
// is one that the answers move on, so that how busy this computer is makes no difference.
func TestServedCar(t *testing.T) {
	for name, listen := range map[string]string{"TCP": "127.0.0.1:0", "serial": ""} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			if listen == "" && runtime.GOOS == "windows" {
				t.Skip("Windows has no pseudo-terminals")
			}
			clk := clock.NewStepped(morning())
			served := &target{clock: clk}
			require.NoError(t, served.simulate("fuel-supply", 1))
			server := start(t, clk, func(a *app) int { return a.report("simulate", a.serve(&fleet{first: served.sim, clock: clk}, listen)) })
			watcher := start(t, &looked{Stepped: clk}, func(a *app) int {
				return a.run([]string{"watch", "--no-journal", "--json", "--port", portOf(t, server)})
			})
			pullThenIdle(t, served, watcher)
			requireSame(t, served, watcher.leave())
			requireDone(t, server.leave())
		})
	}
}

// looked is a stepped clock that goes on a little each time it is found unmoved: else whoever waits for an adapter to have
// nothing to say would wait for ever. A link looks at the hour every 25 ms, so that this clock never outruns the system's.
type looked struct {
	*clock.Stepped
	mu   sync.Mutex
	last time.Time
}

func (c *looked) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.Stepped.Now()
	if now.Equal(c.last) {
		c.Stepped.Advance(10 * time.Millisecond)
		now = c.Stepped.Now()
	}
	c.last = now
	return now
}

// pullThenIdle drives the car uphill once its engine runs, and lets it idle until its counters show all there was and
// every one of them has been read since.
func pullThenIdle(t *testing.T, served *target, watcher running) {
	t.Helper()
	until := func(happened func(watched) bool) (w watched) {
		t.Helper()
		require.True(t, watcher.out.await(func(text string) bool {
			var told bool
			w, told = newest(t, text)
			return told && happened(w)
		}), "the program ended")
		return w
	}
	w := until(func(w watched) bool { return w.RPM != nil && *w.RPM > 500 })
	uphill := served.clock.Now()
	served.sim.Car.Do(uphill, car.Pull, 25*time.Second)
	until(func(w watched) bool { return w.Time.Sub(uphill) >= 25*time.Second })
	served.sim.Car.Do(served.clock.Now(), car.ParkIdle, 0)
	w = until(func(watched) bool { return allShown(served) })
	still := w.Time
	until(func(w watched) bool { return w.readSince(still) })
}

// allShown reports whether the car idles and its counters show every miss that was counted.
func allShown(served *target) bool {
	state, truth := served.sim.Car.State(served.clock.Now()), served.sim.Car.Truth()
	shown := state.Gear == car.ParkNeutral
	for c := range 4 {
		shown = shown && truth.Shown(c+1) == truth.Counted(c+1)
	}
	return shown
}

// watched is what a sample line tells.
type watched struct {
	Time      time.Time
	RPM       *float64
	Cylinders []struct {
		Age *float64 `json:"age_seconds"`
	}
}

// newest is the newest whole sample line.
func newest(t *testing.T, text string) (w watched, told bool) {
	t.Helper()
	lines := strings.Split(text, "\n")
	if len(lines) < 2 || !strings.Contains(lines[len(lines)-2], `"kind":"sample"`) {
		return w, false
	}
	require.NoError(t, json.Unmarshal([]byte(lines[len(lines)-2]), &w))
	return w, true
}

// readSince reports whether every counter has been read since a time.
func (w *watched) readSince(since time.Time) bool {
	read := len(w.Cylinders) == 4
	for _, c := range w.Cylinders {
		read = read && c.Age != nil && w.Time.Sub(since).Seconds() > *c.Age
	}
	return read
}

// requireSame holds a drive's summary to the file of what really happened. Misses of a moment in which this computer was
// too busy to poll are laid to no condition: those of unknown running are in no total, those of an unknown gear are.
func requireSame(t *testing.T, served *target, o outcome) {
	t.Helper()
	requireDone(t, o)
	path := filepath.Join(t.TempDir(), "truth.json")
	require.NoError(t, writeTruth(path, []*sim.Simulation{served.sim}, served.clock))
	truth := truthIn(t, path)
	var summary struct {
		Total []struct {
			Cylinder int
			Misses   uint64
		}
		Unknown struct{ Misses uint64 }
	}
	require.NoError(t, json.Unmarshal([]byte(lastLines(o.out, 1)[0]), &summary))
	require.Len(t, summary.Total, len(truth.Cylinders))
	shown, counted := uint64(0), uint64(0)
	for i, c := range truth.Cylinders {
		assert.Equal(t, c.Cylinder, summary.Total[i].Cylinder)
		assert.NotZero(t, c.Shown, "there was something to count")
		assert.LessOrEqual(t, c.Shown, c.Counted)
		assert.LessOrEqual(t, summary.Total[i].Misses, c.Shown, "cylinder %d", c.Cylinder)
		shown, counted = shown+c.Shown, counted+summary.Total[i].Misses
	}
	assert.LessOrEqual(t, counted, shown, "none is counted twice")
	assert.LessOrEqual(t, shown-counted, summary.Unknown.Misses, "none is lost: what is in no total is told")
}

// The command serves until it is left, and then writes what happened.
func TestSimulateTellsTheTruth(t *testing.T) {
	clk := clock.NewScaled(20)
	path := filepath.Join(t.TempDir(), "truth.json")
	server := start(t, clk, func(a *app) int {
		return a.run([]string{"simulate", "dead-cylinder", "--listen", "127.0.0.1:0", "--truth", path})
	})
	requireDone(t, stumbleAt(t.Context(), clk, "watch", "--no-journal", "--port", portOf(t, server), "--for", "30s", "--plain"))
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
	clk := clock.NewScaled(20)
	server := start(t, clk, func(a *app) int { return a.run([]string{"simulate", "--shared", "--listen", "127.0.0.1:0"}) })
	port := portOf(t, server)
	client := start(t, clk, func(a *app) int { return a.run([]string{"watch", "--no-journal", "--port", port, "--plain"}) })
	requireOneLine(t, stumbleAt(t.Context(), clk, "codes", "--port", port), statusFailed, "another program may be using the adapter")
	requireDone(t, client.leave())
	requireDone(t, server.leave())
}

func TestCannotServe(t *testing.T) {
	server := start(t, clock.System{}, func(a *app) int { return a.run([]string{"simulate", "--listen", "127.0.0.1:0"}) })
	taken := strings.TrimPrefix(portOf(t, server), "tcp://")
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
