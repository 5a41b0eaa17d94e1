package main

import (
	"context"
	"io"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/misfire"
	"stumble/misfire/guide"
	"stumble/misfire/job"
	"stumble/obd/clock"
	"stumble/views"
)

// loadtestOn runs a whole load test on a simulated car by a stepped clock.
func loadtestOn(t testing.TB, scenario string, args ...string) outcome {
	t.Helper()
	o := stepped(t, append([]string{"loadtest", "--port", "sim:" + scenario, "--speed", "max", "--yes"}, args...)...)
	requireDone(t, o)
	return o
}

// spoken are the lines that a helper reads aloud.
func spoken(out string) []string {
	var lines []string
	for line := range strings.Lines(out) {
		if head, _, found := strings.Cut(line, ": "); found && strings.ToUpper(head) == head && head > "A" {
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	return lines
}

// guided is the lines and the summary of a test with --json.
type guided struct {
	lines   []map[string]any
	summary map[string]any
	steps   map[string]map[string]any // of the summary, by key
}

func guidedOn(t testing.TB, scenario string, args ...string) guided {
	t.Helper()
	g := guided{lines: jsonLines(t, loadtestOn(t, scenario, append(args, "--json")...).out), steps: map[string]map[string]any{}}
	g.summary = g.lines[len(g.lines)-1]
	require.Equal(t, "summary", g.summary["kind"])
	for _, s := range g.summary["steps"].([]any) {
		step := s.(map[string]any)
		g.steps[step["step"].(string)] = step
	}
	return g
}

// events are the texts of the step lines of one kind.
func (g guided) events(event string) (texts []string) {
	for _, line := range g.lines {
		if line["kind"] == "step" && line["event"] == event {
			texts = append(texts, line["text"].(string))
		}
	}
	return texts
}

// cylinder is one cylinder's entry of a step.
func (g guided) cylinder(t testing.TB, key string, n int) map[string]any {
	t.Helper()
	all := g.steps[key]["cylinders"].([]any)
	require.GreaterOrEqual(t, len(all), n, key)
	return all[n-1].(map[string]any)
}

// A whole test of the Wren with its broken wire finds the cylinder, and that it is worse in Drive, by itself.
func TestLoadtestFindsTheCylinder(t *testing.T) {
	g := guidedOn(t, "wren")
	verdict := g.summary["verdict"].(map[string]any)
	assert.Equal(t, []any{2.0}, verdict["cylinders"])
	assert.Contains(t, verdict["sentence"], "in Drive")
	for _, s := range guide.All() {
		assert.Equal(t, "done", g.steps[s.Key]["outcome"], s.Key)
		assert.GreaterOrEqual(t, g.steps[s.Key]["seconds"], s.Least.Seconds(), s.Key)
	}
	park, drive := g.cylinder(t, "park", 2), g.cylinder(t, "drive", 2)
	assert.Contains(t, []any{"D", "moving"}, verdict["worse_in"], "rare in Park, frequent in gear, beyond doubt")
	assert.Less(t, park["rate"], drive["rate"])
	assert.Zero(t, g.cylinder(t, "drive", 1)["misses"])
	assert.Equal(t, []string{"every step is done"}, g.events("over"))

	marks := map[string]bool{}
	for _, line := range g.lines {
		if line["kind"] == "mark" {
			marks[line["text"].(string)] = true
		}
	}
	for _, s := range guide.All() {
		assert.True(t, marks["step "+s.Key+" began"] && marks["step "+s.Key+" ended"], "%s is marked in the drive", s.Key)
	}
	assert.True(t, marks["gear R"], "the helper's marks are told, too")
}

func TestLoadtestAloud(t *testing.T) {
	o := loadtestOn(t, "wren", "--plain", "--steps", "drive,pull")
	lines := spoken(o.out)
	require.NotEmpty(t, lines)
	golden(t, "loadtest-aloud.txt", strings.Join(lines, "\n")+"\n")
	assert.Less(t, strings.Index(o.out, "Carbon monoxide"), strings.Index(o.out, "NEXT: "), "cautions come first")
	assert.Contains(t, o.out, "\nstep              outcome")
	assert.Equal(t, o, loadtestOn(t, "wren", "--plain", "--steps", "drive,pull"), "the same every time")
}

// Counters that refresh seldom make each step longer: never less than five refreshes of 1,000 revolutions.
func TestLoadtestWaitsForSlowCounters(t *testing.T) {
	fast, slow := guidedOn(t, "wren", "--steps", "drive,reverse"), guidedOn(t, "wren-slow-counter", "--steps", "drive,reverse")
	for _, key := range []string{"drive", "reverse"} {
		assert.Greater(t, fast.steps[key]["firings"], 5*200/2-5.0, "five refreshes of 200")
		assert.Less(t, fast.steps[key]["seconds"], 181.0)
		assert.Greater(t, slow.steps[key]["firings"], 5*1000/2-10.0, "five refreshes of 1,000")
	}
	assert.InDelta(t, 1000, slow.summary["refresh"].(map[string]any)["revolutions"], 1e-9)
}

// A length that is longer than a transmission takes on the brake is cut in pieces, with a pause in Park that says why. The
// same step twice is two steps, and each holds its own running alone: together no more than all of the gear.
func TestLoadtestOfGivenLengths(t *testing.T) {
	for _, car := range []string{"wren", "no-gear"} {
		t.Run(car, func(t *testing.T) {
			g := guidedOn(t, car, "--steps", "drive:4m,reverse:90s,drive:1m")
			pauses := 0
			for _, words := range g.events("asked") {
				if strings.Contains(words, "more than 3 minutes at once in gear on the brake") {
					pauses++
				}
			}
			assert.Positive(t, pauses)
			var seconds, misses []float64
			for _, s := range g.summary["steps"].([]any) {
				step := s.(map[string]any)
				assert.Equal(t, "done", step["outcome"])
				seconds = append(seconds, step["seconds"].(float64))
				misses = append(misses, step["cylinders"].([]any)[1].(map[string]any)["misses"].(float64))
			}
			require.Len(t, seconds, 3)
			assert.InDeltaSlice(t, []float64{240, 90, 60}, seconds, 1)
			all := 0.0
			for _, c := range g.summary["by_gear"].([]any) {
				if cell := c.(map[string]any); (cell["gear"] == "D" || cell["gear"] == "D/R") && cell["cylinder"] == 2.0 {
					all += cell["misses"].(float64)
				}
			}
			assert.LessOrEqual(t, misses[0]+misses[2], 1.1*all, "windows over the end of a step are shared out, by time here and by rates there")
			assert.Greater(t, misses[0]+misses[2], 0.8*all)
			assert.Greater(t, misses[0], 2*misses[2], "four minutes against one")
		})
	}
}

func TestLoadtestOfAHealthyCar(t *testing.T) {
	g := guidedOn(t, "healthy", "--steps", "park,drive")
	assert.Empty(t, g.summary["verdict"].(map[string]any)["cylinders"])
	for key, s := range g.steps {
		assert.Equal(t, "done", s["outcome"], key)
		assert.InDelta(t, 180, s["seconds"], 2, "%s: as long as it makes sense", key)
		assert.NotNil(t, s["remark"], "%s: and what that is not enough for", key)
	}
	assert.Contains(t, g.summary["step_notes"].([]any)[0], "--key-off")
}

// One cycle a step: each is run, turned off, and read with the ignition on.
func TestLoadtestByKeyOff(t *testing.T) {
	g := guidedOn(t, "wren-key-off-counter", "--key-off", "--steps", "park,drive,reverse")
	assert.Contains(t, g.summary["verdict"].(map[string]any)["sentence"], "on cylinder 2", "three windows may be three bursts")
	assert.GreaterOrEqual(t, g.summary["driving_cycles"], 3.0)
	assert.Greater(t, g.cylinder(t, "drive", 2)["misses"], 10.0)
	assert.Zero(t, g.cylinder(t, "drive", 1)["misses"])
	asked := g.events("asked")
	for _, words := range []string{"stop, select Park, engine off, leave the ignition on", "ignition off, wait ten seconds",
		"ignition on, engine off: the counts are read"} {
		n := 0
		for _, a := range asked {
			if a == words {
				n++
			}
		}
		assert.GreaterOrEqual(t, n, 3, words)
	}
	for key, s := range g.steps {
		assert.Equal(t, "done", s["outcome"], key)
	}
	assert.Empty(t, g.summary["step_notes"])
}

// A car that does not report its gear: the helper's marks tell it, and Reverse is never guessed.
func TestLoadtestByMarks(t *testing.T) {
	g := guidedOn(t, "no-gear", "--steps", "drive,reverse,park")
	origins := map[any]any{}
	for _, c := range g.summary["by_gear"].([]any) {
		cell := c.(map[string]any)
		origins[cell["gear"]] = cell["origin"]
	}
	assert.Equal(t, map[any]any{"D": "marked", "R": "marked", "P/N": "marked"}, origins)
	assert.Equal(t, []any{2.0}, g.summary["verdict"].(map[string]any)["cylinders"])
}

// A car without counts is led through the test all the same, and it is said what that is worth.
func TestLoadtestWithoutCounts(t *testing.T) {
	g := guidedOn(t, "rook", "--steps", "park,drive")
	assert.Contains(t, g.summary["step_notes"].([]any)[0], "no misfire counts")
	for key, s := range g.steps {
		assert.Equal(t, "done", s["outcome"], key)
		assert.Zero(t, s["firings_needed"], key)
		assert.Empty(t, s["cylinders"], key)
	}
}

// Whatever state the simulated car is met in, its driver makes ready for the test.
func TestLoadtestFromAnyBeginning(t *testing.T) {
	for _, scenario := range []string{"engine-off", "ignition-off", "wren-running"} {
		t.Run(scenario, func(t *testing.T) {
			g := guidedOn(t, scenario, "--steps", "drive:4m")
			assert.Equal(t, "done", g.steps["drive"]["outcome"])
			verdict := g.summary["verdict"].(map[string]any)
			assert.Equal(t, []any{2.0}, append(verdict["cylinders"].([]any), verdict["now"].([]any)...))
		})
	}
}

// While the link is gone no time counts; the step goes on until it has what it needs.
func TestLoadtestOverADroppingLink(t *testing.T) {
	g := guidedOn(t, "wren+dropping-link", "--steps", "drive")
	assert.Equal(t, "done", g.steps["drive"]["outcome"])
	assert.Greater(t, g.summary["seconds"], g.steps["drive"]["seconds"])
	notices := 0
	for _, line := range g.lines {
		if line["kind"] == "notice" {
			notices++
		}
	}
	assert.Positive(t, notices)
}

// A dead cylinder puts the catalyst at risk: the test is broken off, cooled, and ended.
func TestLoadtestEasesOff(t *testing.T) {
	g := guidedOn(t, "dead-cylinder")
	assert.Equal(t, "broken_off", g.steps["park"]["outcome"])
	assert.Equal(t, "not_reached", g.steps["pull"]["outcome"])
	require.NotEmpty(t, g.events("broken_off"))
	assert.Contains(t, g.events("broken_off")[0], "overheat the catalyst")
	require.Len(t, g.events("over"), 1)
	assert.Contains(t, g.events("over")[0], "engine off")
	assert.Equal(t, []any{4.0}, g.summary["verdict"].(map[string]any)["cylinders"])
}

func TestLoadtestEndsWhenTheTimeIsOver(t *testing.T) {
	g := guidedOn(t, "wren", "--for", "30s")
	assert.Equal(t, "stopped", g.steps["park"]["outcome"])
	assert.Equal(t, "not_reached", g.steps["drive"]["outcome"])
	assert.Equal(t, []string{"the test was stopped"}, g.events("over"))
}

// led is a guided drive on the simulated car, without a screen, whose keys are pressed by the caller.
func led(t testing.TB, keys string) (*app, *drive) {
	t.Helper()
	var out, errs buffer
	a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
	target, err := a.target(&where{port: "sim:wren", speed: speed{most: true}})
	require.NoError(t, err)
	d, err := a.startDrive(target, misfire.Config{}, &watchOptions{length: duration{time.Hour}}, nil)
	require.NoError(t, err)
	t.Cleanup(d.car.Close)
	plan, err := guide.Parse(keys)
	require.NoError(t, err)
	d.steps(guide.LoadConfig{Steps: plan}, target)
	return a, d
}

// The keys of the screen steer the test: skip, repeat, stop.
func TestStepKeys(t *testing.T) {
	a, d := led(t, "park,drive,reverse")
	var seen []string
	pressed := map[string]int{}
	err := d.Run(a.ctx, time.Second, d.showing(func(s *views.State) error {
		if s.Step == nil {
			return nil
		}
		if n := len(seen); n == 0 || seen[n-1] != s.Step.Name {
			seen = append(seen, s.Step.Name)
		}
		if s.Step.Length-s.Step.Left < 20*time.Second {
			return nil
		}
		switch pressed[s.Step.Name]++; {
		case s.Step.Name == "Park at idle" && pressed[s.Step.Name] == 1:
			d.Repeat()
		case s.Step.Name == "Park at idle" && pressed[s.Step.Name] == 3:
			d.Skip()
		case s.Step.Name == "Drive at idle":
			d.Stop()
		}
		return nil
	}))
	require.ErrorIs(t, err, job.ErrTimeUp)
	state := d.finish()
	assert.Equal(t, []string{"Park at idle", "Drive at idle"}, seen)
	var outcomes []guide.Outcome
	for _, r := range d.guide.(*stepping).Results(state.Summary) {
		outcomes = append(outcomes, r.Outcome)
	}
	assert.Equal(t, []guide.Outcome{guide.LeftOut, guide.Stopped, guide.NotReached}, outcomes)
	var marks []string
	for _, n := range state.Notes {
		if strings.HasPrefix(n.Text, "step ") || strings.HasPrefix(n.Text, "test ") {
			marks = append(marks, n.Text)
		}
	}
	assert.Equal(t, []string{"step park began", "step park repeated", "step park skipped", "step drive began",
		"test over: the test was stopped"}, marks)
}

// In a drive without steps the keys do nothing.
func TestStepKeysWithoutSteps(t *testing.T) {
	a, d := led(t, "park")
	d.guide, d.Until = nil, morning().Add(30*time.Second)
	d.Lead(job.Lead{})
	d.Skip()
	d.Repeat()
	d.Stop()
	require.ErrorIs(t, d.Run(a.ctx, time.Second, func(*job.State) error { return nil }), job.ErrTimeUp)
}

// With --plain the keys are typed as lines; anything longer is a note.
func TestTypedLines(t *testing.T) {
	a, d := led(t, "park,drive")
	ctx, quit := context.WithCancelCause(a.ctx)
	typed := false
	err := d.Run(ctx, time.Second, d.showing(func(s *views.State) error {
		switch {
		case s.Step == nil:
		case !typed:
			typed = true
			for _, line := range []string{"", "p", "n", "d", "r", "heard a pop", "s", "b", "x"} {
				d.typed(line, quit)
			}
		}
		return nil
	}))
	require.ErrorIs(t, err, job.ErrTimeUp)
	var marks []string
	for _, n := range d.finish().Notes {
		marks = append(marks, n.Text)
	}
	assert.Subset(t, marks, []string{"gear P/N", "gear D", "gear R", "heard a pop", "step park skipped", "step park repeated",
		"test over: the test was stopped"})
	d.typed("q", quit)
	assert.ErrorIs(t, context.Cause(ctx), job.ErrTimeUp)
}

// Lines typed by the helper reach the drive, and whoever types ends the test in good order.
func TestTypedQuit(t *testing.T) {
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	var out, errs buffer
	in, keyboard := io.Pipe()
	a := program(t.Context(), clock.NewScaled(200), &out, &errs)
	a.in = in
	done := make(chan int, 1)
	go func() { done <- a.run([]string{"loadtest", "--port", "sim:wren", "--plain", "--yes"}) }()
	require.Eventually(t, func() bool { return strings.Contains(out.String(), "HOLD: ") }, time.Minute, time.Millisecond)
	_, err := io.WriteString(keyboard, "q\n")
	require.NoError(t, err)
	require.Equal(t, statusDone, <-done, errs.String())
	require.NoError(t, keyboard.Close())
	assert.Contains(t, out.String(), "END: the test was stopped")
	assert.Contains(t, out.String(), "Park at idle      stopped")
}

func TestLoadtestUsage(t *testing.T) {
	for _, c := range []struct{ args, says string }{
		{"--steps park,neutral", `there is no step "neutral"; choose from park,drive,reverse,raised,cruise,pull`},
		{"--steps drive:soon", `"soon" is no length for step drive: say minutes or seconds, as in drive:4m or drive:90s`},
		{"--steps drive:1s", "step drive cannot take 1s: give 10s to 1h"},
		{"--plain --json", "exclude each other"},
		{"now", "one argument too many"},
	} {
		o := stepped(t, append([]string{"loadtest", "--port", "sim:wren"}, strings.Fields(c.args)...)...)
		requireOneLine(t, o, statusUsage, c.says)
	}
}

// With --json nothing but objects is on standard output: the cautions are told beside it.
func TestCautionsBesideJSON(t *testing.T) {
	o := stepped(t, "loadtest", "--port", "sim:wren", "--speed", "max", "--json", "--for", "10s")
	assert.Equal(t, statusDone, o.status)
	assert.Contains(t, o.errs, "Carbon monoxide kills")
	jsonLines(t, o.out)
}

// glass is a terminal whose screen the test looks at.
type glass struct {
	tcell.SimulationScreen
	mu   sync.Mutex
	seen string // as last shown
}

func (g *glass) Check() error                { return nil }
func (g *glass) Take() (tcell.Screen, error) { return g, g.Init() }

func (g *glass) Present(io.Reader, io.Writer) bool { return true }

func (g *glass) Show() {
	g.SimulationScreen.Show()
	g.keep()
}

func (g *glass) Sync() {
	g.SimulationScreen.Sync()
	g.keep()
}

func (g *glass) keep() {
	cells, w, _ := g.GetContents()
	var b strings.Builder
	for i, c := range cells {
		b.WriteString(string(c.Runes))
		if i%w == w-1 {
			b.WriteByte('\n')
		}
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	g.seen = b.String()
}

func (g *glass) text() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.seen
}

// On the screen the step stands above the keys that steer it; after the last one the summary is printed.
func TestLoadtestOnTheScreen(t *testing.T) {
	screen := &glass{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}
	var out, errs buffer
	a := program(t.Context(), clock.System{}, &out, &errs)
	a.terminal = screen
	done := make(chan int, 1)
	go func() {
		done <- a.run([]string{"loadtest", "--port", "sim:wren", "--speed", "100", "--yes", "--steps", "drive,pull"})
	}()
	shows := func(words string) {
		t.Helper()
		require.Eventually(t, func() bool { return strings.Contains(screen.text(), words) }, time.Minute, time.Millisecond, words)
	}
	shows("Step 1 of 2: Drive at idle")
	shows("s skip  b again  x stop")
	screen.InjectKey(tcell.KeyRune, 's', tcell.ModNone)
	shows("Step 2 of 2: Pull")
	screen.InjectKey(tcell.KeyRune, 'x', tcell.ModNone)
	require.Equal(t, statusDone, <-done, errs.String())
	assert.Contains(t, out.String(), "Carbon monoxide kills")
	assert.Contains(t, out.String(), "Drive at idle     left out")
	assert.Contains(t, out.String(), "Pull              stopped")
}
