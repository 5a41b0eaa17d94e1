package main

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/clock"
)

// aShop is a journal with two jobs: a Wren with an intake, a drive and a note, and a Curlew with a drive that was cut off.
func aShop(t testing.TB) string {
	t.Helper()
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "intake", "--name", "Wren of the bakery", "--complaint", "shakes in Drive").status)
	require.Equal(t, statusDone, simulated(t, path, "watch --plain --for 5m").status)
	requireDone(t, jobsOf(t, path, "note", "1", "plug", "wire", "reads open"))
	inJournal(t, path, func(j *journal.Journal) {
		r, err := j.StartDrive(journal.DriveInfo{Vehicle: journal.Vehicle{Name: "Larkspur Curlew"}, Started: morning()})
		require.NoError(t, err)
		r.Sample(&obd.Sample{Sent: morning(), Received: morning(), Readings: []obd.Reading{{Service: obd.LiveData, ID: obd.PIDRPM, Value: 700}}})
	})
	return path
}

// jobsOf runs the command on a journal.
func jobsOf(t testing.TB, path string, args ...string) outcome {
	t.Helper()
	return stepped(t, append([]string{"jobs", "--journal", path}, args...)...)
}

func TestListOfJobs(t *testing.T) {
	path := aShop(t)
	o := jobsOf(t, path)
	assert.Equal(t, statusDone, o.status)
	assert.Contains(t, o.errs, "drive 2 of job 2 (Larkspur Curlew) was cut off", "told when the journal is opened next")
	lines := strings.Split(strings.TrimSpace(o.out), "\n")
	require.Len(t, lines, 2, o.out)
	assert.Regexp(t, `^2  2026-11-2\d \d\d:30  Larkspur Curlew  0 intakes, 1 drive$`, lines[0])
	assert.Regexp(t, `^   1  2026-11-2\d \d\d:30  Larkspur Wren 1.6 \(0LKW\w+\)  1 intake, 1 drive  Wren of the bakery  shakes in Drive$`, lines[1])
	found := jobsOf(t, path, "--find", "BAKERY")
	requireDone(t, found)
	assert.Equal(t, lines[1]+"\n", found.out)

	var list struct {
		Kind string
		Jobs []map[string]any
	}
	require.NoError(t, json.Unmarshal([]byte(jobsOf(t, path, "--json").out), &list))
	assert.Equal(t, "jobs", list.Kind)
	require.Len(t, list.Jobs, 2)
	assert.EqualValues(t, 1, list.Jobs[1]["job"])
	assert.Equal(t, "shakes in Drive", list.Jobs[1]["complaint"])
	assert.EqualValues(t, 1, list.Jobs[1]["drive_count"])
	assert.Nil(t, list.Jobs[0]["name"])
}

func TestJobShown(t *testing.T) {
	path := aShop(t)
	jobsOf(t, path) // tells of the drive that was cut off
	o := jobsOf(t, path, "show", "1")
	requireDone(t, o)
	text := strings.Join(strings.Fields(o.out), " ")
	for _, words := range []string{
		"job 1 Wren of the bakery", "vehicle Larkspur Wren 1.6 (0LKW", "complaint shakes in Drive",
		"stored P0302, pending P0302, permanent P0302", "drive 1 2026-11-2", "5m0s: Cylinder 2 ", "plug wire reads open",
	} {
		assert.Contains(t, text, words)
	}
	for line := range strings.Lines(o.out) {
		assert.LessOrEqual(t, len(line), textWidth+1)
	}
	o = jobsOf(t, path, "show", "2")
	requireDone(t, o)
	assert.Contains(t, strings.Join(strings.Fields(o.out), " "), "cut off before its end; 'stumble playback 2 --plain' counts what is saved")
	requireDone(t, stepped(t, "playback", "2", "--plain", "--journal", path))

	var page struct {
		Kind    string
		Job     int
		Intakes []struct {
			Codes struct{ Modules []map[string]any }
		}
		Drives []map[string]any
		Notes  []map[string]any
	}
	require.NoError(t, json.Unmarshal([]byte(jobsOf(t, path, "show", "1", "--json").out), &page))
	assert.Equal(t, "job", page.Kind)
	assert.Equal(t, 1, page.Job)
	require.Len(t, page.Intakes, 1)
	assert.NotEmpty(t, page.Intakes[0].Codes.Modules)
	require.Len(t, page.Drives, 1)
	assert.Equal(t, "finished", page.Drives[0]["state"])
	assert.Contains(t, page.Drives[0]["sentence"], "Cylinder 2 ")
	require.Len(t, page.Notes, 1)
	assert.Equal(t, "plug wire reads open", page.Notes[0]["text"])
}

// What somebody else typed cannot disturb the terminal.
func TestTextsOnOneLine(t *testing.T) {
	path := aJournal(t)
	require.Equal(t, statusDone, simulated(t, path, "intake", "--complaint", "a\x1b[2Jb\nc\u0085d").status)
	o := jobsOf(t, path)
	requireDone(t, o)
	assert.True(t, strings.HasSuffix(o.out, "  a [2Jb c d\n"), "%q", o.out)
	o = jobsOf(t, path, "show", "1")
	assert.Contains(t, o.out, "complaint  a [2Jb c d\n")
}

func TestJobNamed(t *testing.T) {
	path := aShop(t)
	jobsOf(t, path)
	requireDone(t, jobsOf(t, path, "name", "2", "Curlew", "of the mill"))
	assert.Contains(t, jobsOf(t, path).out, "1 drive  Curlew of the mill\n")
}

// asked runs the command with something typed.
func asked(t testing.TB, path, typed string, args ...string) outcome {
	t.Helper()
	var out, errs buffer
	a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
	a.in = strings.NewReader(typed)
	status := a.run(append([]string{"jobs", "--journal", path}, args...))
	return outcome{status, out.String(), errs.String()}
}

// Nothing is deleted unless its number is typed, or --yes said.
func TestDelete(t *testing.T) {
	path := aShop(t)
	jobsOf(t, path)
	for _, typed := range []string{"", "\n", "y\n", "2\n", "11\n"} {
		o := asked(t, path, typed, "delete", "1")
		assert.Equal(t, statusFailed, o.status)
		assert.Contains(t, o.errs, "Wren of the bakery", "what it is about")
		assert.Contains(t, o.errs, "Type its number to go on: ")
		assert.Contains(t, o.errs, "job 1 is not deleted: its number was not typed")
		assert.Equal(t, statusFailed, asked(t, path, "x"+typed, "delete-drive", "1").status)
	}
	require.Len(t, jobsIn(t, path), 2)

	o := asked(t, path, "1\n", "delete-drive", "1")
	assert.Equal(t, statusDone, o.status, o.errs)
	assert.Equal(t, "drive 1 is deleted\n", o.out)
	requireOneLine(t, stepped(t, "playback", "1", "--plain", "--journal", path), statusFailed, "drive 1 is not in the journal")
	o = asked(t, path, " 1 ", "delete", "1")
	assert.Equal(t, statusDone, o.status, o.errs)
	requireDone(t, jobsOf(t, path, "delete", "2", "--yes"))
	o = jobsOf(t, path)
	requireDone(t, o)
	assert.Contains(t, o.out, "no job in "+path+"; 'stumble intake' and 'stumble watch' begin one")
}

// A question that nobody answers can be left.
func TestDeleteIsLeft(t *testing.T) {
	path := aShop(t)
	jobsOf(t, path)
	in, typing := io.Pipe()
	defer typing.Close()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	var out, errs buffer
	a := program(ctx, clock.NewStepped(morning()), &out, &errs)
	a.in = in
	done := make(chan int, 1)
	go func() { done <- a.run([]string{"jobs", "delete", "1", "--journal", path}) }()
	require.True(t, errs.await(func(text string) bool { return strings.Contains(text, "to go on: ") }))
	cancel()
	assert.Equal(t, statusFailed, <-done)
	require.Len(t, jobsIn(t, path), 2)
}

func TestJobsThatCannot(t *testing.T) {
	path := aShop(t)
	jobsOf(t, path)
	for _, c := range []struct {
		args, says string
		status     int
	}{
		{"frobnicate 1", `jobs cannot "frobnicate"`, statusUsage},
		{"show", "say which job by its number", statusUsage},
		{"delete-drive", "say which drive by its number", statusUsage},
		{"show first", `"first" is no number of a job`, statusUsage},
		{"show -- -1", `"-1" is no number of a job`, statusUsage},
		{"show 1 2", `"2" is one argument too many`, statusUsage},
		{"name 1", "TEXT is missing after 'stumble jobs name'", statusUsage},
		{"export 1", "FILE is missing after 'stumble jobs export'", statusUsage},
		{"export 1 a b", `"b" is one argument too many`, statusUsage},
		{"import", "FILE is missing after 'stumble jobs import'", statusUsage},
		{"export 9 " + filepath.Join(filepath.Dir(path), "job"), "job 9 is not in the journal", statusFailed},
		{"export 1 " + path, "is there already: name a new file", statusFailed},
		{"export 1 " + filepath.Join(path, "job"), "the file cannot be made: ", statusFailed},
		{"import " + filepath.Join(filepath.Dir(path), "none"), "name one that 'stumble jobs export' wrote", statusFailed},
		{"import " + path, path + ": ", statusFailed},
		{"show 9", "job 9 is not in the journal: list the jobs", statusFailed},
		{"name 9 text", "job 9 is not in the journal", statusFailed},
		{"note 9 text", "job 9 is not in the journal", statusFailed},
		{"delete 9", "job 9 is not in the journal", statusFailed},
		{"delete 9 --yes", "job 9 is not in the journal", statusFailed},
		{"delete-drive 9 --yes", "drive 9 is not in the journal", statusFailed},
	} {
		requireOneLine(t, jobsOf(t, path, strings.Fields(c.args)...), c.status, c.says)
	}
	requireOneLine(t, jobsOf(t, newerJournal(t)), statusFailed, "written by a newer version", "another file with --journal")
	requireOneLine(t, jobsOf(t, filepath.Dir(path)), statusFailed, "is not a file")
	requireOneLine(t, stepped(t, "jobs"), statusFailed, "no folder for the journal is known: name its file with --journal or STUMBLE_JOURNAL")
}

// A job that is taken to another journal plays back there as it does here.
func TestExportAndImport(t *testing.T) {
	path, other, file := aShop(t), aJournal(t), filepath.Join(t.TempDir(), "wren.job")
	jobsOf(t, path)
	o := jobsOf(t, path, "export", "1", file)
	requireDone(t, o)
	assert.Equal(t, "job 1 is in "+file+"; 'stumble jobs import' takes it in elsewhere\n", o.out)
	o = jobsOf(t, other, "import", file)
	requireDone(t, o)
	assert.Contains(t, o.out, "job 1 is new here")
	o = jobsOf(t, other, "import", file)
	requireDone(t, o)
	assert.Contains(t, o.out, "nothing new")
	assert.Equal(t, jobsOf(t, path, "show", "1").out, jobsOf(t, other, "show", "1").out)
	play := func(path string) outcome { return stepped(t, "playback", "1", "--json", "--journal", path) }
	requireDone(t, play(other))
	assert.Equal(t, play(path), play(other))

	require.NoError(t, os.WriteFile(file, []byte("no job"), 0o600))
	requireOneLine(t, jobsOf(t, other, "import", file), statusFailed, file+": ")
}
