package main

import (
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/job"
	"stumble/obd/clock"
	"stumble/views/screen"
	"stumble/views/wire"
)

// readme is the text of the README.
func readme(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root(t), "README.md"))
	require.NoError(t, err)
	return string(text)
}

// examples are the command lines of the README's shell blocks, in order, without their comments.
func examples(t testing.TB) (lines []string) {
	t.Helper()
	for _, block := range regexp.MustCompile("(?s)\n```sh\n(.*?)\n```\n").FindAllStringSubmatch(readme(t), -1) {
		for line := range strings.Lines(block[1]) {
			line, _, _ = strings.Cut(line, " #")
			lines = append(lines, strings.TrimSpace(line))
		}
	}
	require.NotEmpty(t, lines)
	return lines
}

// Every example of the README runs, on the simulated car where it names an adapter, and as lines where it would take
// the screen.
func TestExamplesOfTheReadme(t *testing.T) {
	vars := map[string]string{"STUMBLE_JOURNAL": filepath.Join(t.TempDir(), "journal.db")}
	clk := clock.NewStepped(morning())
	lines, run := examples(t), filepath.Join(root(t), ".ci", "run")
	t.Chdir(t.TempDir()) // some write files beside where they are started
	for _, line := range lines {
		t.Run(line, func(t *testing.T) {
			args := shellWords(line)
			switch {
			case line == ".ci/run":
				about, err := os.Stat(run)
				require.NoError(t, err)
				assert.NotZero(t, about.Mode()&0o111, "it can be run")
				return
			case strings.HasPrefix(line, "go run ./cmd/stumble "):
				args = args[3:]
			default:
				require.Equal(t, "stumble", args[0])
				args = args[1:]
			}
			if args[0] == "demo" && testing.Short() {
				t.Skip("hours of driving")
			}
			if args[0] == "simulate" && slices.Contains(args, "--listen") {
				args[slices.Index(args, "--listen")+1] = "127.0.0.1:0"
				server := start(t, clock.System{}, func(a *app) int { return a.run(args) })
				requireDone(t, server.leave())
				return
			}
			var out, errs buffer
			clk.Advance(time.Hour) // so that what is saved is in order
			a := program(t.Context(), clk, &out, &errs)
			a.in, a.env = strings.NewReader("CLEAR\n"), environment(vars) // what clear wants typed
			require.Equal(t, statusDone, a.run(inTheWorkshop(args, vars["STUMBLE_JOURNAL"])), errs.String())
			assert.NotEmpty(t, out.String()+errs.String())
		})
	}
}

// inTheWorkshop is a command line for the simulated car and without a screen.
func inTheWorkshop(args []string, journal string) []string {
	args = slices.Clone(args)
	reads := slices.Contains([]string{"codes", "intake", "watch", "loadtest", "clear"}, args[0])
	const car = "sim"
	if at := slices.Index(args, "--port"); at >= 0 && !strings.HasPrefix(args[at+1], "sim") {
		args[at+1] = car
	} else if at < 0 && reads {
		args = append(args, "--port", car)
	}
	if reads && !slices.Contains(args, "--speed") {
		args = append(args, "--speed", "max")
	}
	if reads && args[0] != "codes" {
		args = append(args, "--journal", journal) // the simulated car is saved only where one is named
	}
	shows := slices.Contains([]string{"demo", "watch", "loadtest", "playback"}, args[0])
	if shows && !slices.Contains(args, "--json") && !slices.Contains(args, "--plain") {
		args = append(args, "--plain")
	}
	switch args[0] {
	case "watch":
		args = append(args, "--for", "2m") // the last said counts
	case "loadtest":
		args = append(args, "--yes", "--for", "9m") // until the last step
	case "ports":
		args = append(args, "--names")
	}
	return args
}

// The README names every command, every exit status and every field of the JSON.
func TestReadmeIsComplete(t *testing.T) {
	text := readme(t)
	for _, c := range commands(t) {
		assert.True(t, strings.Contains(text, "| `"+c.Name()+"` |"), "the README's table of commands lacks %s", c.Name())
	}
	for _, of := range []any{
		wire.Sample{}, wire.TestSummary{}, wire.Mark{}, wire.Notice{}, wire.Guide{},
		wire.Codes{}, wire.IntakeWithCauses{}, wire.Comparison{}, wire.Causes{}, wire.Bench{}, wire.Balance{}, wire.Port{}, wire.Doctor{}, wire.Settings{}, wire.Truth{}, wire.Jobs{}, wire.Job{}, wire.NoteHistory{},
	} {
		for _, name := range fieldNames(reflect.TypeOf(of), map[reflect.Type]bool{}) {
			assert.True(t, strings.Contains(text, "`"+name+"`"), "the README lacks the field %s of %T", name, of)
		}
	}
}

// fieldNames are the names that a type has in JSON, those of what it holds included.
func fieldNames(of reflect.Type, seen map[reflect.Type]bool) (names []string) {
	for of.Kind() == reflect.Slice || of.Kind() == reflect.Pointer {
		of = of.Elem()
	}
	if of.Kind() != reflect.Struct || seen[of] {
		return nil
	}
	seen[of] = true
	for i := range of.NumField() {
		f := of.Field(i)
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != "" && name != "-" {
			names = append(names, name)
		}
		if f.IsExported() || f.Anonymous {
			names = append(names, fieldNames(f.Type, seen)...)
		}
	}
	return names
}

// pictured is when the README's screen is seen: both idles and the first minutes on the road are behind.
const pictured = 8*time.Minute + 30*time.Second

// The screen that the README shows is the one that its command shows.
func TestScreenOfTheReadme(t *testing.T) {
	intro, block, found := strings.Cut(readme(t), "\n```text\n")
	require.True(t, found)
	assert.Contains(t, intro, "`stumble watch --port sim --engine v6-along-142536`, eight and a half minutes into a drive")
	want, _, _ := strings.Cut(block, "\n```\n")

	a := program(t.Context(), clock.NewStepped(morning()), &buffer{}, &buffer{})
	target, err := a.target(&where{port: "sim", speed: speed{most: true}})
	require.NoError(t, err)
	cfg, err := (&engineOptions{key: "v6-along-142536"}).config(misfire.Config{})
	require.NoError(t, err)
	d, err := a.startDrive(target, cfg, &watchOptions{length: duration{pictured}}, nil)
	require.NoError(t, err)
	t.Cleanup(d.car.Close)
	require.ErrorIs(t, d.Run(t.Context(), screenEvery, d.showing(d.board.show)), job.ErrTimeUp)
	got := drawn(t, d)
	if *update {
		text := strings.Replace(readme(t), want, got, 1)
		require.NoError(t, os.WriteFile(filepath.Join(root(t), "README.md"), []byte(text), 0o644))
		return
	}
	assert.Equal(t, want, got, "run with -update to write it")
}

// drawn is a drive's screen of 80 by 24 as it is now, without the spaces at the ends of its lines.
func drawn(t testing.TB, d *drive) string {
	t.Helper()
	term := &glass{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}
	require.NoError(t, term.Init())
	term.SetSize(80, 24)
	shown := make(chan error, 1)
	go func() {
		shown <- screen.Run(t.Context(), term, clock.System{}, screen.NewLive(&d.board, d.actions()), screen.Options{})
	}()
	require.Eventually(t, func() bool { return strings.Contains(term.text(), "quit") }, time.Minute, time.Millisecond)
	text := term.text()
	term.InjectKey(tcell.KeyRune, 'q', tcell.ModNone)
	require.NoError(t, <-shown)
	lines := strings.Split(text, "\n")
	for i := range lines {
		lines[i] = strings.TrimRight(lines[i], " ")
	}
	return strings.TrimRight(strings.Join(lines, "\n"), "\n")
}

// The files that the README points to are there.
func TestLinksOfTheReadme(t *testing.T) {
	text := readme(t)
	for _, m := range regexp.MustCompile(`\]\(([^)]+)\)`).FindAllStringSubmatch(text, -1) {
		if anchor, isAnchor := strings.CutPrefix(m[1], "#"); isAnchor {
			heading := "\n## " + strings.ReplaceAll(anchor, "-", " ") + "\n"
			assert.True(t, strings.Contains(strings.ToLower(text), heading), "there is no heading for %s", anchor)
			continue
		}
		_, err := os.Stat(filepath.Join(root(t), m[1]))
		assert.NoError(t, err)
	}
}
