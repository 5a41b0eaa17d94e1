package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/views"
	"stumble/views/wire"
)

// simulated is a command on the simulated car, as fast as it can, that saves in a journal.
func simulated(t testing.TB, path, command string, more ...string) outcome {
	t.Helper()
	args := append(strings.Fields(command), "--speed", "max", "--journal", path)
	if !strings.Contains(command, "--port") {
		args = append(args, "--port", "sim:wren")
	}
	return stepped(t, append(args, more...)...)
}

// aJournal is a path for a journal of the test's own.
func aJournal(t testing.TB) string { return filepath.Join(t.TempDir(), "data", "journal.db") }

// inJournal looks into a journal.
func inJournal(t testing.TB, path string, look func(*journal.Journal)) {
	t.Helper()
	j, notices, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	require.Empty(t, notices)
	look(j)
	require.NoError(t, j.Close())
}

// jobsIn lists the jobs of a journal, the newest first.
func jobsIn(t testing.TB, path string) (all []journal.Job) {
	t.Helper()
	inJournal(t, path, func(j *journal.Journal) {
		var err error
		all, err = j.Jobs(journal.JobFilter{})
		require.NoError(t, err)
	})
	return all
}

// requireSaved holds a run to having worked and told where it saved.
func requireSaved(t testing.TB, o outcome, where string) {
	t.Helper()
	require.Equal(t, statusDone, o.status, o.errs)
	require.Equal(t, where, lastLines(o.errs, 1)[0])
}

// The newest job of a vehicle is its open one, for intakes and drives alike, unless another is named or begun.
func TestWhichJob(t *testing.T) {
	path := aJournal(t)
	requireSaved(t, simulated(t, path, "intake", "--complaint", "shakes in Drive"), "saved in job 1")
	requireSaved(t, simulated(t, path, "intake", "--json"), "saved in job 1")
	requireSaved(t, simulated(t, path, "intake --port sim:curlew-worn-plug"), "saved in job 2")
	requireSaved(t, simulated(t, path, "watch --plain --for 10s", "--name", "before the repair"), "saved in job 1, drive 1")
	requireSaved(t, simulated(t, path, "intake --new-job", "--name", "the next visit"), "saved in job 3")
	requireSaved(t, simulated(t, path, "watch --json --for 10s"), "saved in job 3, drive 2")
	requireSaved(t, simulated(t, path, "watch --json --for 10s --job 1", "--complaint", "and in Reverse"), "saved in job 1, drive 3")

	all := jobsIn(t, path)
	require.Len(t, all, 3)
	first := all[2]
	assert.Equal(t, "shakes in Drive", first.Complaint)
	assert.Equal(t, "before the repair", first.Name)
	assert.Equal(t, 2, first.Intakes)
	assert.Equal(t, 2, first.Drives)
	assert.Equal(t, all[0].Vehicle, first.Vehicle, "two jobs on one car")
	assert.Equal(t, "the next visit", all[0].Name)
	inJournal(t, path, func(j *journal.Journal) {
		notes, err := j.Notes(1)
		require.NoError(t, err)
		require.Len(t, notes, 1)
		assert.Equal(t, "complaint: and in Reverse", notes[0].Text)
	})
}

// A car that tells no VIN goes by its name; two that tell neither are never taken for one.
func TestJobsWithoutVIN(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "intake --port sim:rook").status)
	require.Equal(t, statusDone, simulated(t, path, "intake --port sim:rook").status)
	require.Len(t, jobsIn(t, path), 1)
}

// The simulated car is practice: without a file that is named, nothing is written.
func TestPracticeIsNotSaved(t *testing.T) {
	home := t.TempDir()
	t.Setenv("TMPDIR", home)
	for _, command := range []string{"watch --port sim:wren --speed max --for 10s --plain", "intake --port sim:wren --speed max", "demo --plain",
		"watch --no-journal --port sim:wren --speed max --for 10s --plain"} {
		if strings.HasPrefix(command, "demo") && testing.Short() { // hours of driving
			continue
		}
		var out, errs buffer
		a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
		a.env = environment(map[string]string{"HOME": home, "STUMBLE_JOURNAL": filepath.Join(home, "journal.db")})
		require.Equal(t, statusDone, a.run(strings.Fields(command)), errs.String())
		if strings.HasPrefix(command, "demo") { // it saves, and throws away
			continue
		}
		assert.NotContains(t, errs.String(), "saved")
		assert.NotContains(t, out.String(), "recording")
	}
	left, err := os.ReadDir(home)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// A real car is saved without being asked, in the journal that the environment names, and plays back as it was though
// its exchanges came when they came.
func TestServedCarIsSaved(t *testing.T) {
	clk := clock.NewScaled(20)
	served := &target{clock: clk}
	require.NoError(t, served.simulate("wren", 1))
	server := start(t, clk, func(a *app) int {
		return a.report("simulate", a.serve(&fleet{first: served.sim, clock: clk}, "127.0.0.1:0"))
	})
	path := aJournal(t)
	var out, errs buffer
	a := program(t.Context(), clk, &out, &errs)
	a.env = environment(map[string]string{"STUMBLE_JOURNAL": path})
	status := a.run([]string{"watch", "--for", "30s", "--json", "--port", portOf(t, server)})
	requireDone(t, server.leave())
	requireSaved(t, outcome{status, out.String(), errs.String()}, "saved in job 1, drive 1")
	assert.Contains(t, lastLines(out.String(), 1000)[0], `"text":"recording to job 1, drive 1"`)
	o := stepped(t, "playback", "1", "--json", "--journal", path)
	requireDone(t, o)
	assert.Equal(t, ofTheCar(out.String()), ofTheCar(o.out))
}

// blocked is a path for a journal that cannot be written until unblock is called.
func blocked(t testing.TB) (path string, unblock func()) {
	file := filepath.Join(t.TempDir(), "data")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	return filepath.Join(file, "journal.db"), func() { require.NoError(t, os.Remove(file)) }
}

// What cannot be saved is printed all the same, with a loud word, and the run has failed.
func TestNotSaved(t *testing.T) {
	path, _ := blocked(t)
	o := simulated(t, path, "intake")
	assert.Equal(t, statusFailed, o.status)
	golden(t, "intake-wren.txt", o.out)
	assert.Contains(t, lastLines(o.errs, 1)[0], "stumble: intake: the intake is NOT SAVED: journal "+path)

	o = simulated(t, path, "watch --json --for 30s")
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, lastLines(o.errs, 1)[0], "stumble: watch: NOT SAVED: ")
	lines := jsonLines(t, o.out)
	assert.Equal(t, "summary", lines[len(lines)-1]["kind"], "the drive is not held up")
	assert.Equal(t, "notice", lines[0]["kind"])
	assert.Contains(t, lines[0]["text"], "the drive is NOT SAVED: ")
	assert.NotContains(t, lines[0]["text"], path, "why, before a path that may be long")
	assert.Equal(t, "sample", lines[1]["kind"])
	assert.Contains(t, lines[1]["alert"], "NOT SAVED: ")
	notices := 0
	for _, l := range lines {
		if l["kind"] == "notice" {
			notices++
		}
	}
	assert.Equal(t, 1, notices, "told once, not with every sample")
}

// A journal that cannot be opened at all holds nothing up either.
func TestNoJournalToBeHad(t *testing.T) {
	path := newerJournal(t)
	for _, command := range []string{"intake", "watch --plain --for 10s", "watch --json --for 10s", "loadtest --plain --yes --for 10s"} {
		o := simulated(t, path, command)
		assert.Equal(t, statusFailed, o.status, command)
		assert.NotEmpty(t, o.out, command)
		last := lastLines(o.errs, 1)[0]
		assert.Contains(t, last, "NOT SAVED: journal "+path+": it was written by a newer version of the program")
		assert.Contains(t, last, "name another file with --journal")
	}
}

// newerJournal is a journal that a version of the program will write some day: SQLite keeps PRAGMA user_version at
// offset 60 of the file, highest byte first (SQLite file format, 1.3).
func newerJournal(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "journal.db")
	inJournal(t, path, func(*journal.Journal) {})
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	_, err = file.WriteAt([]byte{0, 0, 99, 0}, 60)
	require.NoError(t, err)
	require.NoError(t, file.Close())
	return path
}

// recorded is a drive on the simulated car, without a screen, that is saved in a journal.
func recorded(t testing.TB, path string) (*app, *drive, *buffer) {
	t.Helper()
	var out, errs buffer
	a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
	to, err := a.target(&where{port: "sim:wren", speed: speed{most: true}})
	require.NoError(t, err)
	k, err := a.saver(to, &recordOptions{journal: journalOption{path}})
	require.NoError(t, err)
	t.Cleanup(k.Close)
	d, err := a.startDrive(to, misfire.Config{}, &watchOptions{length: duration{10 * time.Hour}}, k)
	require.NoError(t, err)
	t.Cleanup(d.car.Close)
	require.NoError(t, d.record(a.ctx))
	return a, d, &errs
}

// Trouble that passes is told when it comes and when it goes, and nothing is missing in the end.
func TestSavedAgain(t *testing.T) {
	path, unblock := blocked(t)
	a, d, errs := recorded(t, path)
	var told []string
	d.Notify = func(n job.Notice) error {
		told = append(told, d.words(n))
		return nil
	}
	seconds := 0
	err := d.Run(a.ctx, time.Second, d.showing(func(s *views.State) error {
		switch seconds++; {
		case seconds == 5:
			assert.Equal(t, "NOT SAVED", s.Health.Recording)
			assert.Contains(t, s.Alert, "NOT SAVED: ")
			unblock()
		case len(told) == 2:
			assert.Contains(t, s.Health.Recording, "recording to a new job, drive 1")
			assert.Empty(t, s.Alert)
			return job.ErrTimeUp
		}
		return nil
	}))
	require.ErrorIs(t, err, job.ErrTimeUp)
	live := wire.NewSummary(d.finish())
	require.NoError(t, a.keep(d.saver, live))
	require.Len(t, told, 2)
	assert.Contains(t, told[0], "the drive is NOT SAVED: ")
	assert.Contains(t, told[1], "the drive is saved again")
	assert.Contains(t, errs.String(), "saved in job 1, drive 1\n")
	d.saver.Close()
	requireSameSummary(t, live, path, "1")
}

// requireSameSummary holds playback to the summary of the live drive, to the last digit.
func requireSameSummary(t testing.TB, live any, path string, drive string) {
	t.Helper()
	var want bytes.Buffer
	require.NoError(t, wire.WriteLine(&want, live))
	o := stepped(t, "playback", drive, "--json", "--journal", path)
	requireDone(t, o)
	require.Equal(t, strings.TrimSpace(want.String()), lastLines(o.out, 1)[0])
}

// The warning to ease off is not hidden by a journal that cannot be written.
func TestEaseOffBeforeNotSaved(t *testing.T) {
	full := &job.RecordingState{On: true, Why: errors.New("the disk is full")}
	words, alert := recordingWords(full, &misfire.Summary{}, nil)
	assert.Equal(t, "NOT SAVED: the disk is full", alert)
	assert.Equal(t, "NOT SAVED", words)
	words, alert = recordingWords(full, &misfire.Summary{Verdict: misfire.Verdict{EaseOff: true}}, nil)
	assert.Empty(t, alert)
	assert.Equal(t, "NOT SAVED", words)
}

// Marks, raw exchanges and the verdict are kept beside the samples.
func TestWhatIsKeptOfADrive(t *testing.T) {
	path := aJournal(t)
	o := simulated(t, path, "loadtest --json --yes --steps park --for 40s")
	requireSaved(t, o, "saved in job 1, drive 1")
	inJournal(t, path, func(j *journal.Journal) {
		d, err := j.Drive(1)
		require.NoError(t, err)
		assert.Equal(t, journal.DriveFinished, d.State)
		assert.Positive(t, d.Samples)
		assert.GreaterOrEqual(t, d.Exchanges, d.Samples)
		assert.Zero(t, d.Lost)
		marks, err := j.Marks(1)
		require.NoError(t, err)
		assert.NotEmpty(t, marks)
		verdicts, err := j.Verdicts(1)
		require.NoError(t, err)
		require.Len(t, verdicts, 1)
		assert.Equal(t, lastLines(o.out, 1)[0], string(verdicts[0].Data), "the very summary that was printed")
		assert.True(t, json.Valid(verdicts[0].Data))
	})
}

func TestWrongPlaceToSave(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "intake").status)
	for _, command := range []string{"intake", "watch --plain", "loadtest --plain --yes"} {
		requireOneLine(t, simulated(t, path, command+" --job 9"), statusFailed, "job 9 is not in the journal: list the jobs")
		requireOneLine(t, simulated(t, path, command+" --job 1 --new-job"), statusUsage, "--job and --new-job exclude each other")
		requireOneLine(t, simulated(t, path, command+" --no-journal"), statusUsage, "--no-journal excludes --journal")
		requireOneLine(t, stepped(t, append(strings.Fields(command), "--port", "sim:wren", "--job", "1")...), statusUsage, "only where --journal names a file")
	}
	o := simulated(t, path, "watch --plain --port sim:curlew-worn-plug --job 1")
	requireOneLine(t, o, statusFailed, "job 1 is of another vehicle, Larkspur Wren", "leave --job out")
	o = simulated(t, path, "intake --port sim:curlew-worn-plug --job 1")
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.out, "Vehicle number", "what was read is printed")
	assert.Contains(t, lastLines(o.errs, 1)[0], "NOT SAVED: job 1 is of another vehicle")
}

// The screen says where the drive goes, or over its whole width that it goes nowhere.
func TestRecordingOnTheScreen(t *testing.T) {
	path, _ := blocked(t)
	counts := regexp.MustCompile(`(?m)^ 1  [-0-9]`) // in the row of cylinder 1: until its counter is read, words stand there
	for _, c := range []struct {
		path, shows string
		status      int
	}{
		{aJournal(t), "recording to job 1, drive 1", statusDone},
		{path, " NOT SAVED: ", statusFailed},
	} {
		screen := &glass{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}
		var out, errs buffer
		a := program(t.Context(), clock.System{}, &out, &errs)
		a.terminal = screen
		done := make(chan int, 1)
		go func() { done <- a.run([]string{"watch", "--port", "sim:wren", "--speed", "20", "--journal", c.path}) }()
		require.Eventually(t, func() bool {
			text := screen.text()
			return strings.Contains(text, c.shows) && counts.MatchString(text)
		}, time.Minute, time.Millisecond, c.shows)
		screen.InjectKey(tcell.KeyRune, 'q', tcell.ModNone)
		require.Equal(t, c.status, <-done, errs.String())
		assert.Contains(t, out.String(), "Misses per 1,000 firings.")
	}
}

// The engine that a vehicle was counted by is taken again, unless another is named.
func TestEngineIsRemembered(t *testing.T) {
	path := aJournal(t)
	layoutOf := func(more ...string) map[string]any {
		o := simulated(t, path, "watch --json --for 20s", more...)
		require.Equal(t, statusDone, o.status, o.errs)
		return summaryOf(t, o.out)["engine"].(map[string]any)
	}
	assert.Equal(t, "4", layoutOf()["layout"], "nothing is known yet")
	layoutOf("--engine", "i4-1342", "--map", "2,1,3,4")
	again := layoutOf()
	assert.Equal(t, "i4-1342", again["layout"])
	assert.Equal(t, "2,1,3,4", again["map"])
	assert.Equal(t, "i4-1243", layoutOf("--engine", "i4-1243")["layout"])
	again = layoutOf()
	assert.Equal(t, "i4-1243", again["layout"])
	assert.Empty(t, again["map"], "the map was of the other layout")
}

// What befell the link is among the marks of the drive, so that playback shows it where it was.
func TestLostLinkIsNoted(t *testing.T) {
	path := aJournal(t)
	live := simulated(t, path, "watch --json --for 2m --port sim:wren-running+dropping-link")
	require.Equal(t, statusDone, live.status, live.errs)
	require.Contains(t, live.out, "the adapter went away")
	marks := func(out string) (texts []string) {
		for _, object := range jsonLines(t, out) {
			if object["kind"] == "mark" {
				texts = append(texts, object["text"].(string))
			}
		}
		return texts
	}
	again := stepped(t, "playback", "1", "--json", "--journal", path)
	assert.Equal(t, marks(live.out), marks(again.out))
	assert.Contains(t, strings.Join(marks(again.out), "\n"), "the adapter is back")
}

// A drive in which the car said nothing is not kept, nor is a job that was begun for it.
func TestNothingReadIsNotKept(t *testing.T) {
	path := aJournal(t)
	a, d, errs := recorded(t, path)
	require.NoError(t, a.keep(d.saver, wire.NewSummary(d.finish())))
	assert.Contains(t, errs.String(), "nothing was read from the car: no drive is saved")
	assert.Empty(t, jobsIn(t, path))
}
