package main

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/views"
)

// day is a journal, and a day on which the program is run again and again.
type day struct {
	t    testing.TB
	path string
	hour time.Time
}

func newDay(t testing.TB) *day {
	return &day{t: t, path: filepath.Join(t.TempDir(), "journal.db"), hour: morning()}
}

// run runs the program with the journal, and something typed into it, an hour after the last time.
func (s *day) run(typed string, args ...string) outcome {
	s.t.Helper()
	s.hour = s.hour.Add(time.Hour)
	var out, errs buffer
	a := newApp(context.Background(), strings.NewReader(typed), &out, &errs)
	a.env, a.clock, a.terminal = environment(nil), clock.NewStepped(s.hour), systemTerminal{}
	status := a.run(append(args, "--journal", s.path))
	return outcome{status, out.String(), errs.String()}
}

// on is a command on a simulated car.
func (s *day) on(scenario, typed string, args ...string) outcome {
	s.t.Helper()
	return s.run(typed, append(args, "--port", "sim:"+scenario, "--speed", "max")...)
}

// look opens the journal.
func (s *day) look(do func(*journal.Journal)) {
	s.t.Helper()
	j, notices, err := journal.Open(s.path, journal.Options{})
	require.NoError(s.t, err)
	require.Empty(s.t, notices)
	do(j)
	require.NoError(s.t, j.Close())
}

// requireRefused holds a clear to having cleared nothing: it says so in its last line, and the job holds no trace.
func (s *day) requireRefused(o outcome, says ...string) {
	s.t.Helper()
	require.Equal(s.t, statusFailed, o.status, o.errs)
	require.Equal(s.t, 1, strings.Count(o.errs, "\n"), o.errs)
	for _, word := range append(says, "nothing was cleared") {
		assert.Contains(s.t, o.errs, word)
	}
	assert.NotContains(s.t, o.out, "Gone")
}

func TestClearNeedsItsEvidence(t *testing.T) {
	s := newDay(t)
	s.requireRefused(s.on("engine-off", "CLEAR\n", "clear"), "save an intake first")
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)

	for _, typed := range []string{"", "clear\n", "yes\n", "1\n", "CLEAR IT\n"} {
		s.requireRefused(s.on("engine-off", typed, "clear"), "the word CLEAR was not typed")
	}
	o := s.on("wren-running", "CLEAR\n", "clear")
	s.requireRefused(o, "rpm; turn it off")
	assert.Empty(t, o.out, "nothing is asked that cannot be done")
	s.requireRefused(s.on("curlew-worn-plug", "CLEAR\n", "clear", "--job", "1"), "another vehicle")
	s.requireRefused(s.on("engine-off", "CLEAR\n", "clear", "--job", "7"), "job 7")

	s.look(func(j *journal.Journal) {
		records, err := j.Intakes(1)
		require.NoError(t, err)
		assert.Len(t, records, 1)
		verdicts, err := j.Verdicts(1)
		require.NoError(t, err)
		assert.Empty(t, verdicts)
	})
}

// A clear is saved with what came back, and the next one needs an intake of its own.
func TestClear(t *testing.T) {
	s := newDay(t)
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)
	o := s.on("engine-off", "CLEAR\n", "clear")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Equal(t, "Leave the engine off. Type CLEAR to go on: ", o.errs)
	golden(t, "clear.txt", strings.ReplaceAll(o.out, views.Minute(morning().Add(time.Hour)), "2026-11-25 09:30"))
	for line := range strings.Lines(o.out) {
		assert.LessOrEqual(t, len(line), textWidth+1)
	}
	s.look(func(j *journal.Journal) {
		records, err := j.Intakes(1)
		require.NoError(t, err)
		require.Len(t, records, 2)
		assert.Nil(t, records[1].Intake)
		assert.Empty(t, job.Erasable(records[1].Codes))
		assert.Equal(t, []obd.Code{0x0302}, job.Codes(records[1].Codes, job.PermanentCodes), "no tool erases it")
		notes, err := j.Notes(1)
		require.NoError(t, err)
		require.Len(t, notes, 1)
		assert.Equal(t, "codes cleared: P0302; permanent: P0302", notes[0].Text)
	})
	page := s.run("", "jobs", "show", "1")
	assert.Regexp(t, `(?m)^codes      2026-11-2\d \d\d:30 permanent P0302$`, page.out)
	s.requireRefused(s.on("engine-off", "CLEAR\n", "clear"), "no intake since the clear")
	require.Equal(t, statusDone, s.on("engine-off", "", "intake").status)
	require.Equal(t, statusDone, s.on("engine-off", "CLEAR\n", "clear").status)
}

// Codes that came after the intake would be lost.
func TestClearOfCodesThatAreNotSaved(t *testing.T) {
	s := newDay(t)
	s.look(func(j *journal.Journal) {
		job, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{VIN: "0LKWR16A4R0104217"}})
		require.NoError(t, err)
		_, err = j.AddIntake(job.ID, &obd.Intake{At: morning(), VIN: "0LKWR16A4R0104217"}, journal.Order{})
		require.NoError(t, err)
	})
	s.requireRefused(s.on("engine-off", "CLEAR\n", "clear"), "the car holds P0302", "save a new one first")
}

func TestClearUsage(t *testing.T) {
	requireOneLine(t, stumble(t, "clear", "--port", "sim"), statusUsage, "--journal names a file")
	requireOneLine(t, stumble(t, "clear", "--yes"), statusUsage, "there is no option --yes")
	s := newDay(t)
	s.run("", "jobs")
	o := s.on("ignition-off", "CLEAR\n", "clear")
	requireOneLine(t, o, statusFailed, "turn the ignition on")
}
