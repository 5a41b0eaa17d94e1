package main

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/views/report"
	"stumble/views/say"
)

// repairedDay is a job from the complaint to the drive after the repair, with drives of some length.
func repairedDay(t testing.TB, before, after string) *day {
	t.Helper()
	s := newDay(t)
	require.Equal(t, statusDone, s.on("engine-off", "", "intake", "--complaint", "jerks in Drive").status)
	s.drive("wren", before, "--engine", "i4-1342")
	requireDone(t, s.run("", "jobs", "note", "1", "repair: new plug wire on cylinder 2"))
	s.drive("wren-repaired", after, "--engine", "i4-1342", "--seed", "3")
	return s
}

// gathered is the case of a job of the journal.
func (s *day) gathered(job int64) *report.Case {
	s.t.Helper()
	var c *report.Case
	s.look(func(j *journal.Journal) {
		var out, errs buffer
		a := program(s.t.Context(), clock.NewStepped(s.hour), &out, &errs)
		var err error
		c, err = a.reported(j, job)
		require.NoError(s.t, err)
		assert.Empty(s.t, errs.String())
	})
	return c
}

// What a report is made from: the drives by their sides, second by second from beginning to end, the comparison that
// compare makes, and what stands in the job besides.
func TestReportGathersTheJob(t *testing.T) {
	long := "17m" // longer than a tally keeps its strip
	if testing.Short() {
		long = "6m" // than it is taken at a time
	}
	s := repairedDay(t, "5m", long)
	require.Equal(t, statusDone, s.run("", "bench", "wire", "2=OL", "--job", "1").status)
	c := s.gathered(0)
	assert.Equal(t, "jerks in Drive", c.Job.Complaint)
	require.Len(t, c.Drives, 2)
	for i, side := range []report.Side{report.SideBefore, report.SideAfter} {
		d := &c.Drives[i]
		assert.Equal(t, side, d.Side)
		assert.Positive(t, d.Exchanges)
		seconds := int(d.Summary.Now.Sub(d.Summary.Start).Seconds())
		require.InDelta(t, seconds, len(d.Moments), 2, "a moment for each second, not for the last minutes alone")
		counted := make([]float64, len(d.Summary.Total))
		for k, m := range d.Moments {
			if k > 0 {
				require.Equal(t, time.Second, m.At.Sub(d.Moments[k-1].At))
			}
			for i := range counted {
				counted[i] += float64(m.Misses[i])
			}
		}
		for i, total := range d.Summary.Total {
			assert.InDelta(t, total.Misses, counted[i], 1, "cylinder %d", i+1)
		}
	}
	require.NotNil(t, c.Proof)
	comparison := s.comparison("--job", "1")
	assert.Equal(t, comparison["sentence"], say.English().Comparison(c.Proof.Result))
	require.NotNil(t, c.Progress)
	assert.Positive(t, c.Progress.Driving)
	require.NotNil(t, c.Readiness)
	require.NotNil(t, c.Before.Intake)
	require.Len(t, c.Bench, 1)
	require.NotNil(t, c.Causes)
	require.NotEmpty(t, c.Causes.Ranked)

	// What was last compared is compared again, the exchange of parts with it.
	s.comparison("1", "2", "--swapped", "wire:2-1", "--strict")
	c = s.gathered(1)
	assert.Equal(t, "those that were last compared", c.Proof.Chosen)
	require.NotNil(t, c.Proof.Swap)
	assert.Equal(t, "wire", c.Proof.Swap.Part)
	assert.Equal(t, 10.0, c.Proof.Result.Tolerance.Load)
	s.comparison("1", "2", "--swapped", "wire:2-1", "--strict")
	s.look(func(j *journal.Journal) {
		verdicts, err := j.Verdicts(1)
		require.NoError(t, err)
		n := 0
		for _, v := range verdicts {
			if v.Kind == "comparison" {
				n++
			}
		}
		assert.Equal(t, 2, n, "the same is kept once")
		require.NoError(t, j.DeleteDrive(2))
	})
	c = s.gathered(1) // one of the drives compared is gone
	assert.Nil(t, c.Proof)
	assert.Len(t, c.Drives, 1)
}

func TestReportForms(t *testing.T) {
	s := repairedDay(t, "1m", "1m")
	folder := t.TempDir()
	path := func(name string) string { return filepath.Join(folder, name) }
	for _, columns := range []string{"72", "132"} {
		o := s.run("", "report", "--width", columns)
		requireDone(t, o)
		assert.True(t, strings.HasPrefix(o.out, "Drive-cycle report\n"))
		assert.Contains(t, o.out, "jerks in Drive")
	}
	for _, form := range []struct{ option, file, begins, is string }{{"--html", "job.html", "<!DOCTYPE html>", "page"}, {"--pdf", "job.pdf", "%PDF-", "PDF"}} {
		o := s.run("", "report", "1", form.option, path(form.file))
		requireDone(t, o)
		assert.Equal(t, "the "+form.is+" is in "+path(form.file)+"\n", o.out)
		written, err := os.ReadFile(path(form.file))
		require.NoError(t, err)
		assert.True(t, bytes.HasPrefix(written, []byte(form.begins)))
		o = s.run("", "report", "1", form.option, path(form.file))
		requireOneLine(t, o, statusFailed, "is there already", "--force")
		requireDone(t, s.run("", "report", "1", form.option, path(form.file), "--force"))
		o = s.run("", "report", "1", form.option, "-")
		requireDone(t, o)
		assert.True(t, strings.HasPrefix(o.out, form.begins))
	}
	o := s.run("", "report", "1", "--text", "--html", path("both.html"), "--units", "us", "--paper", "letter")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "°F")
	assert.Equal(t, "the page is in "+path("both.html")+"\n", o.errs)
	written, err := os.ReadFile(path("both.html"))
	require.NoError(t, err)
	assert.Contains(t, string(written), "size: 215.9mm 279.4mm")
}

// A job without a drive, and one with a single drive, have a report too.
func TestReportOfAYoungJob(t *testing.T) {
	s := newDay(t)
	requireOneLine(t, s.run("", "report"), statusFailed, "there is no such file", "begin one")
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)
	o := s.run("", "report")
	requireDone(t, o)
	assert.Contains(t, o.out, "Nothing driven yet")
	s.drive("rook", "2m") // another car, another job
	o = s.run("", "report", "2")
	requireDone(t, o)
	assert.NotContains(t, o.out, "were not compared")
	requireDone(t, s.run("", "jobs", "note", "2", "repair: nothing yet"))
	s.drive("rook", "2m")
	o = s.run("", "report", "2")
	requireDone(t, o)
	assert.Contains(t, o.out, "Before and after were not compared.")
	assert.Contains(t, strings.Join(strings.Fields(o.out), " "), "holds no misfire counts of a running engine")
}

func TestReportRefuses(t *testing.T) {
	s := newDay(t)
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)
	folder := t.TempDir()
	for _, c := range []struct {
		args   string
		status int
		says   []string
	}{
		{"9", statusFailed, []string{"job 9", "list the jobs"}},
		{"nine", statusUsage, []string{`"nine" is no number of a job`}},
		{"1 2", statusUsage, []string{"one argument too many"}},
		{"1 --width 80", statusUsage, []string{"--width of 80", "72 or 132"}},
		{"1 --paper a5", statusUsage, []string{`no paper "a5"`, "a4 or letter"}},
		{"1 --units old", statusUsage, []string{`no units "old"`, "metric or us"}},
		{"1 --open", statusUsage, []string{"--open opens one file"}},
		{"1 --html - --open", statusUsage, []string{"--open opens one file"}},
		{"1 --html - --text", statusUsage, []string{"name a file for each"}},
		{"1 --html x --pdf ./x", statusUsage, []string{"name a file for each"}},
		{"1 --html " + folder, statusFailed, []string{"is not a plain file: name another"}},
		{"1 --html " + filepath.Join(folder, "none", "job.html"), statusFailed, []string{"cannot be made", "name another"}},
		{"1 --settings " + filepath.Join(folder, "none.json"), statusFailed, []string{"the settings cannot be read"}},
	} {
		t.Run(c.args, func(t *testing.T) {
			requireOneLine(t, s.run("", append([]string{"report"}, strings.Fields(c.args)...)...), c.status, c.says...)
		})
	}
}

// The file is opened by the system once it is written, and a system that cannot says so.
func TestReportOpens(t *testing.T) {
	s := newDay(t)
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)
	path := filepath.Join(t.TempDir(), "job.html")
	opened := ""
	run := func(open func(string) error) outcome {
		var out, errs buffer
		a := program(t.Context(), clock.NewStepped(s.hour), &out, &errs)
		a.open = open
		status := a.run([]string{"report", "1", "--html", path, "--open", "--force", "--journal", s.path})
		return outcome{status, out.String(), errs.String()}
	}
	requireDone(t, run(func(file string) error {
		_, err := os.Stat(file)
		opened = file
		return err
	}))
	assert.Equal(t, path, opened)
	o := run(func(string) error { return errors.New("there is no opener here: open it yourself") })
	assert.Equal(t, statusFailed, o.status)
	assert.Equal(t, "stumble: report: there is no opener here: open it yourself\n", o.errs)

	t.Setenv("PATH", t.TempDir())
	err := openFile(path)
	require.Error(t, err)
	assert.Contains(t, err.Error(), "open it yourself")
	for system, program := range map[string]string{"linux": "xdg-open", "freebsd": "xdg-open", "darwin": "open", "windows": "rundll32"} {
		assert.Equal(t, program, opener(system)[0])
	}
}

// impatient is a clock by which every look takes a second and a half.
type impatient struct {
	clock.Clock
	now time.Time
}

func (h *impatient) Now() time.Time {
	h.now = h.now.Add(1500 * time.Millisecond)
	return h.now
}

// Who waits for more than a second is told how far it is.
func TestReportTellsItsProgress(t *testing.T) {
	s := newDay(t)
	s.drive("wren", "4m")
	var out, errs buffer
	a := program(t.Context(), &impatient{Clock: clock.NewStepped(s.hour), now: s.hour}, &out, &errs)
	require.Equal(t, statusDone, a.run([]string{"report", "1", "--journal", s.path}))
	lines := strings.Split(strings.TrimSpace(errs.String()), "\n")
	require.Greater(t, len(lines), 2)
	for _, line := range lines {
		assert.Regexp(t, `^counting drive 1: [0-9ms]+ of 4m[01]s$|^counting drive 1: [0-9ms]+ of 3m5[0-9]s$`, line)
	}
	assert.NotContains(t, out.String(), "counting drive")
}

// settingsIn writes a settings file and gives its path.
func settingsIn(t testing.TB, folder, text string) string {
	t.Helper()
	path := filepath.Join(folder, "settings.json")
	require.NoError(t, os.MkdirAll(folder, 0o755))
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path
}

func TestSettings(t *testing.T) {
	s := newDay(t)
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)
	home := t.TempDir()
	folder := filepath.Join(home, ".config", "stumble")
	var logo bytes.Buffer
	require.NoError(t, png.Encode(&logo, image.NewGray(image.Rect(0, 0, 8, 8))))
	settingsIn(t, folder, `{"shop_name": "Κήπος Garage", "shop_address": "1 Mill Lane\nNewtown", "logo": "logo.png", "paper": "letter", "units": "us"}`)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "logo.png"), logo.Bytes(), 0o644))
	run := func(args ...string) outcome {
		var out, errs buffer
		a := program(t.Context(), clock.NewStepped(s.hour), &out, &errs)
		a.env = environment(map[string]string{"HOME": home, "AppData": filepath.Join(home, ".config")})
		status := a.run(append([]string{"report", "1", "--journal", s.path}, args...))
		return outcome{status, out.String(), errs.String()}
	}
	o := run("--html", "-")
	requireDone(t, o)
	for _, part := range []string{"Κήπος Garage", "Newtown", "data:image/png;base64,", "size: 215.9mm", "°F"} {
		assert.Contains(t, o.out, part)
	}
	o = run("--html", "-", "--paper", "a4", "--units", "metric") // the command line has the last word
	requireDone(t, o)
	assert.Contains(t, o.out, "size: 210mm")
	assert.Contains(t, o.out, "°C")
	requireDone(t, run("--settings", settingsIn(t, t.TempDir(), "{}")))

	for text, says := range map[string][]string{
		`{"shop_name": 7}`:           {"shop_name is no text", "as JSON"},
		`{"shop": "x"}`:              {`unknown field "shop"`, "shop_name"},
		`{`:                          {"ends too early"},
		``:                           {"ends too early"},
		`shop_name = x`:              {"no JSON at byte 1"},
		`{} {}`:                      {"go on after their end"},
		`{"paper": "a5"}`:            {`no paper "a5"`, "settings.json"},
		`{"units": "both"}`:          {`no units "both"`, "settings.json"},
		`{"logo": "none.png"}`:       {"the logo cannot be read"},
		`{"logo": "settings.json"}`:  {"cannot be used", "no PNG or JPEG"},
		`{"logo": "."}`:              {"is not a plain file"},
		strings.Repeat(" ", 100_000): {"larger than the 64 KiB"},
	} {
		o := run("--settings", settingsIn(t, t.TempDir(), text))
		require.NotEqual(t, statusDone, o.status, text)
		requireOneLine(t, o, o.status, says...)
	}
	big := filepath.Join(t.TempDir(), "big.png")
	require.NoError(t, os.WriteFile(big, make([]byte, report.LargestLogo+1), 0o644))
	o = run("--settings", settingsIn(t, t.TempDir(), fmt.Sprintf(`{"logo": %q}`, big)))
	requireOneLine(t, o, statusFailed, "larger than the 1024 KiB")
}

// Where settings lie on each system, as os.UserConfigDir has it.
func TestSettingsPath(t *testing.T) {
	for _, c := range []struct {
		goos, want string
		vars       map[string]string
	}{
		{"linux", "/home/u/.config/stumble/settings.json", map[string]string{"HOME": "/home/u"}},
		{"linux", "/etc/u/stumble/settings.json", map[string]string{"HOME": "/home/u", "XDG_CONFIG_HOME": "/etc/u"}},
		{"linux", "/home/u/.config/stumble/settings.json", map[string]string{"HOME": "/home/u", "XDG_CONFIG_HOME": "relative"}},
		{"linux", "", nil},
		{"darwin", "/Users/u/Library/Application Support/stumble/settings.json", map[string]string{"HOME": "/Users/u"}},
		{"darwin", "", nil},
		{"windows", `C:\u\stumble\settings.json`, map[string]string{"AppData": `C:\u\`}},
		{"windows", "", nil},
	} {
		assert.Equal(t, c.want, settingsPath(environment(c.vars), c.goos), c.goos)
	}
}
