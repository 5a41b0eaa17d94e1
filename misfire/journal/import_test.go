package journal_test

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/journal"
)

// worked makes a job with something of everything.
func worked(t testing.TB, j *journal.Journal) journal.Job {
	t.Helper()
	return workedFor(t, j, 800)
}

// workedFor is worked with a drive of about that many exchanges.
func workedFor(t testing.TB, j *journal.Journal, exchanges int) journal.Job {
	t.Helper()
	job, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Larkspur Wren", VIN: vin}, Name: "stumbles", Complaint: "shakes in Drive", Opened: morning})
	require.NoError(t, err)
	in := intake()
	_, err = j.AddIntake(job.ID, in, journal.Order{})
	require.NoError(t, err)
	_, err = j.AddCodes(job.ID, morning, &in.CodeReport, journal.Order{})
	require.NoError(t, err)
	require.NoError(t, j.AddNote(job.ID, journal.Note{At: morning, Text: "wire of cylinder 2 looks burnt"}))
	_, err = j.AddBench(journal.BenchReading{Job: job.ID, At: morning, Kind: "wire", Cylinder: 2, Quantity: "resistance", Value: inf, Unit: "kΩ", Judged: []byte(`{"bad":true}`)})
	require.NoError(t, err)
	info := wren(t)
	info.Job = job.ID
	r, err := j.StartDrive(info)
	require.NoError(t, err)
	c := newCar(1)
	record(r, c, exchanges)
	r.Mark(c.now, gear.Drive, "gear D")
	record(r, c, exchanges/8)
	require.NoError(t, r.Finish([]byte(`{"sentence":"Cylinder 2 misses"}`)))
	_, err = j.AddVerdict(journal.Verdict{Job: job.ID, At: morning, Kind: "causes", Data: []byte(`[]`)})
	require.NoError(t, err)
	job, err = j.Job(job.ID)
	require.NoError(t, err)
	return job
}

func exported(t testing.TB, j *journal.Journal, job int64) []byte {
	t.Helper()
	var file bytes.Buffer
	require.NoError(t, j.ExportJob(job, &file))
	return file.Bytes()
}

func TestJobGoesToAnotherComputer(t *testing.T) {
	from, to := fresh(t), fresh(t)
	_, err := to.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Larkspur Rook"}, Opened: morning})
	require.NoError(t, err)
	job := worked(t, from)
	file := exported(t, from, job.ID)
	found, err := to.ImportJob(bytes.NewReader(file))
	require.NoError(t, err)
	assert.Equal(t, journal.Imported{Job: 2, NewJob: true, Added: 7}, found)
	there, err := to.Job(found.Job)
	require.NoError(t, err)
	want := job
	want.ID, want.Vehicle.ID = there.ID, there.Vehicle.ID
	want.Touched = 2 // in hand after the one that is here
	assert.Equal(t, want, there)

	drives, err := from.Drives(job.ID)
	require.NoError(t, err)
	copies, err := to.Drives(found.Job)
	require.NoError(t, err)
	wantSamples, wantMarks := played(t, from, drives[0].ID)
	samples, marks := played(t, to, copies[0].ID)
	assert.Equal(t, wantSamples, samples)
	assert.Equal(t, wantMarks, marks)
	assert.Equal(t, exchanged(t, from, drives[0].ID), exchanged(t, to, copies[0].ID))
	intakes, err := to.Intakes(found.Job)
	require.NoError(t, err)
	require.Len(t, intakes, 2)
	assert.Equal(t, intake(), intakes[0].Intake)
	readings, err := to.BenchReadings(found.Job)
	require.NoError(t, err)
	assert.Equal(t, inf, readings[0].Value)
	sound(t, to.Path())

	again, err := to.ImportJob(bytes.NewReader(file))
	require.NoError(t, err)
	assert.Equal(t, journal.Imported{Job: 2, Known: 7}, again)

	require.NoError(t, to.AddNote(found.Job, journal.Note{At: morning, Text: "wire replaced"}))
	back, err := from.ImportJob(bytes.NewReader(exported(t, to, found.Job)))
	require.NoError(t, err)
	assert.Equal(t, journal.Imported{Job: job.ID, Added: 1, Known: 7}, back, "the way back adds what is new")
	sound(t, from.Path())
}

func TestExportRefusesADriveBeingRecorded(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	d, err := j.Drive(r.ID())
	require.NoError(t, err)
	require.ErrorContains(t, j.ExportJob(d.Job, io.Discard), "drive 1 is being recorded: end it first")
	require.ErrorContains(t, j.DeleteJob(d.Job), "is being recorded")
	require.ErrorContains(t, j.DeleteDrive(d.ID), "is being recorded")
	require.NoError(t, r.Finish(nil))
}

func zipped(text string) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write([]byte(text))
	_ = z.Close()
	return b.Bytes()
}

func unzipped(t testing.TB, file []byte) string {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(file))
	require.NoError(t, err)
	text, err := io.ReadAll(z)
	require.NoError(t, err)
	return string(text)
}

// oldJob is the job that version 1 exported.
func oldJob(t testing.TB) []byte {
	t.Helper()
	file, err := os.ReadFile(filepath.Join("testdata", "journals", "version-1.job"))
	require.NoError(t, err)
	return file
}

func TestImportRefusesLinesThatDoNotFit(t *testing.T) {
	good := oldJob(t)
	text := unzipped(t, good)
	swap := func(old, new string) []byte {
		require.Contains(t, text, old)
		return zipped(strings.Replace(text, old, new, 1))
	}
	j := fresh(t)
	for name, c := range map[string]struct {
		file []byte
		want string
	}{
		"nothing":           {nil, "not an exported job"},
		"no gzip":           {[]byte(text), "not an exported job"},
		"no head":           {zipped("{}\n"), "not an exported job"},
		"newer":             {swap(`{"stumble_job":1}`, `{"stumble_job":9}`), "newer version"},
		"cut":               {good[:len(good)/2], "not whole"},
		"no end":            {zipped(text[:strings.LastIndex(text, `{"end"`)]), "not whole"},
		"wrong end":         {swap(`{"end":`, `{"end":1`), "not whole"},
		"more after end":    {zipped(text + "{}\n"), "not whole"},
		"no rows":           {zipped("{\"stumble_job\":1}\n{\"end\":0}\n"), "holds no job"},
		"no JSON":           {swap(`"table":"jobs"`, `"table":jobs`), "line 3 of the exported job cannot be read"},
		"unknown table":     {swap(`"table":"jobs"`, `"table":"sqlite_schema"`), `line 3 of the exported job does not fit: there is no table "sqlite_schema"`},
		"unknown column":    {swap(`"complaint":`, `"complaint) --":`), "it has no complaint"},
		"missing column":    {swap(`"complaint":"shudders when pulling away warm",`, ``), "columns"},
		"wrong type":        {swap(`"complaint":"shudders when pulling away warm"`, `"complaint":7`), "its complaint is no TEXT"},
		"null":              {swap(`"complaint":"shudders when pulling away warm"`, `"complaint":null`), "line 3"},
		"wrong parent":      {swap(`"vehicle_id":1`, `"vehicle_id":5`), "its vehicle_id is not in the file"},
		"path in uid":       {swap(`"uid":"`, `"uid":"../`), "its uid cannot be read"},
		"escape in text":    {swap(`"complaint":"`, `"complaint":"\u001b[2J`), "its complaint holds control characters"},
		"too many cylinder": {swap(`\"Cylinders\":6`, `\"Cylinders\":4000000`), "its engine cannot be read"},
		"no such cylinder":  {swap(`\"FiringOrder\":[1`, `\"FiringOrder\":[99`), "its engine cannot be read"},
		"no such gear":      {swap(`"gear":"D"`, `"gear":"Z"`), "its gear cannot be read"},
		"no such state":     {swap(`"state":"finished"`, `"state":"flying"`), "does not fit"},
		"broken intake":     {swap(`"data":"{`, `"data":"`), "its data cannot be read"},
		"same job twice":    {with(text, 2, "", ""), "its id was there before"},
		"two vehicles":      {with(text, 1, `"id":1`, `"id":2`), "more than one vehicle"},
		"two jobs":          {with(text, 2, `"id":1`, `"id":2`), "more than one job"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := j.ImportJob(bytes.NewReader(c.file))
			require.ErrorContains(t, err, c.want)
			assert.NotContains(t, err.Error(), "\n")
			jobs, err := j.Jobs(journal.JobFilter{})
			require.NoError(t, err)
			assert.Empty(t, jobs, "whole or not at all")
		})
	}
}

// with puts a line of an exported job into it once more, altered, and counts it.
func with(text string, n int, old, new string) []byte {
	lines := strings.Split(strings.TrimSpace(text), "\n")
	lines = slices.Insert(lines, n+1, strings.Replace(lines[n], old, new, 1))
	lines[len(lines)-1] = fmt.Sprintf(`{"end":%d}`, len(lines)-2)
	return zipped(strings.Join(lines, "\n") + "\n")
}

func TestImportedRecordingIsNotTakenForLive(t *testing.T) {
	from := fresh(t)
	lines := zipped(strings.Replace(unzipped(t, oldJob(t)), `"state":"finished"`, `"state":"recording"`, 1))
	file := altered(t, exported(t, from, worked(t, from).ID), "UPDATE drives SET state = 'recording'")
	for name, data := range map[string][]byte{"lines": lines, "file": file} {
		t.Run(name, func(t *testing.T) {
			to := fresh(t)
			found, err := to.ImportJob(bytes.NewReader(data))
			require.NoError(t, err)
			drives, err := to.Drives(found.Job)
			require.NoError(t, err)
			assert.Equal(t, journal.DriveInterrupted, drives[0].State)
		})
	}
}

// altered is an exported job that somebody changed with SQLite.
func altered(t testing.TB, file []byte, statement string) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "altered.db")
	require.NoError(t, os.WriteFile(path, file, 0o600))
	alter(t, path, "PRAGMA ignore_check_constraints = ON; PRAGMA writable_schema = ON; "+statement)
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	return file
}

func TestImportRefusesAFileThatDoesNotFit(t *testing.T) {
	from := fresh(t)
	good := exported(t, from, worked(t, from).ID)
	engineless := `UPDATE drives SET engine = replace(engine, '"Cylinders":4', '"Cylinders":4000000')`
	j := fresh(t)
	for name, c := range map[string]struct {
		file []byte
		want string
	}{
		"cut":              {good[:len(good)/2], "not whole"},
		"only its head":    {good[:100], "not whole"},
		"spoilt":           {append(bytes.Clone(good[:5000]), make([]byte, len(good)-5000)...), "not whole"},
		"foreign":          {altered(t, good, "PRAGMA application_id = 7"), "not an exported job"},
		"newer":            {altered(t, good, "PRAGMA user_version = 9"), "newer version"},
		"trigger":          {altered(t, good, "CREATE TRIGGER t AFTER UPDATE ON drives BEGIN DELETE FROM jobs; END"), "not an exported job"},
		"view for a table": {altered(t, good, "DROP TABLE notes; CREATE VIEW notes AS SELECT 1 AS id"), "not an exported job"},
		"no table":         {altered(t, good, "DROP TABLE notes"), "not whole"},
		"no job":           {altered(t, good, "DELETE FROM jobs; DELETE FROM vehicles"), "row 1 of its notes of the exported job does not fit: its job_id is not in the file"},
		"nothing in it": {altered(t, good, `DELETE FROM vehicles; DELETE FROM jobs; DELETE FROM notes; DELETE FROM intakes; DELETE FROM drives;
			DELETE FROM samples; DELETE FROM exchanges; DELETE FROM marks; DELETE FROM bench; DELETE FROM verdicts`), "holds no job"},
		"two jobs":          {altered(t, good, "INSERT INTO jobs SELECT 2, 'X', vehicle_id, name, complaint, opened_ns, 1, 1 FROM jobs"), "more than one job"},
		"two vehicles":      {altered(t, good, "INSERT INTO vehicles SELECT 2, 'X', '', name, layout, map, note FROM vehicles"), "more than one vehicle"},
		"wrong parent":      {altered(t, good, "UPDATE marks SET drive_id = 7"), "its drive_id is not in the file"},
		"path in uid":       {altered(t, good, "UPDATE drives SET uid = '../x'"), "its uid cannot be read"},
		"escape in text":    {altered(t, good, "UPDATE jobs SET complaint = char(27) || '[2J'"), "its complaint holds control characters"},
		"too many cylinder": {altered(t, good, engineless), "its engine cannot be read"},
		"no such gear":      {altered(t, good, "UPDATE marks SET gear = 'Z'"), "its gear cannot be read"},
		"no such state":     {altered(t, good, "UPDATE drives SET state = 'flying'"), "not whole"},
		"broken intake":     {altered(t, good, "UPDATE intakes SET data = '{'"), "its data cannot be read"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := j.ImportJob(bytes.NewReader(c.file))
			require.ErrorContains(t, err, c.want)
			assert.NotContains(t, err.Error(), "\n")
			jobs, err := j.Jobs(journal.JobFilter{})
			require.NoError(t, err)
			assert.Empty(t, jobs, "whole or not at all")
		})
	}
}

// An exported job is a journal: what opens one opens the other.
func TestExportedJobIsAJournal(t *testing.T) {
	from := fresh(t)
	worked(t, from)
	job := worked(t, from) // the second, on the same car
	path := filepath.Join(t.TempDir(), "job.db")
	require.NoError(t, os.WriteFile(path, exported(t, from, job.ID), 0o600))
	sound(t, path)
	to, notices := open(t, path)
	assert.Empty(t, notices)
	jobs, err := to.Jobs(journal.JobFilter{})
	require.NoError(t, err)
	assert.Equal(t, []journal.Job{job}, jobs)
	drives, err := from.Drives(job.ID)
	require.NoError(t, err)
	there, err := to.Drive(drives[0].ID)
	require.NoError(t, err)
	assert.Equal(t, holdings(t, from, &drives[0]), holdings(t, to, &there))
}

// Any byte of a job's file may be spoilt on its way: it is taken in sound or refused in one line.
func TestFlippedBitsInAJobFile(t *testing.T) {
	from := fresh(t)
	whole := exported(t, from, workedFor(t, from, 100).ID)
	dice := rand.New(rand.NewPCG(3, 4))
	j := fresh(t)
	for n := range 60 {
		spoilt := bytes.Clone(whole)
		for range 1 + n%4 {
			spoilt[dice.IntN(len(spoilt))] ^= 1 << dice.IntN(8)
		}
		found, err := j.ImportJob(bytes.NewReader(spoilt))
		if err != nil {
			assert.NotContains(t, err.Error(), "\n")
			continue
		}
		look(t, j, found.Job)
		require.NoError(t, j.DeleteJob(found.Job))
	}
	sound(t, j.Path())
}

// FuzzImport gives a journal whatever anybody may send. What is taken in can be read, sent on and deleted, and the file
// stays sound.
func FuzzImport(f *testing.F) {
	path := filepath.Join(f.TempDir(), "journal.db")
	j, _, err := journal.Open(path, journal.Options{})
	require.NoError(f, err)
	f.Cleanup(func() {
		require.NoError(f, j.Close())
		sound(f, path)
	})
	text := unzipped(f, oldJob(f))
	f.Add([]byte(text))
	lines := strings.SplitAfter(text, "\n")
	f.Add([]byte(strings.Join(lines[:3], "") + `{"end":2}` + "\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		found, err := j.ImportJob(bytes.NewReader(zipped(string(text))))
		if err != nil {
			assert.NotContains(t, err.Error(), "\n")
			return
		}
		look(t, j, found.Job)
		exported(t, j, found.Job)
		require.NoError(t, j.DeleteJob(found.Job))
		jobs, err := j.Jobs(journal.JobFilter{})
		require.NoError(t, err)
		require.Empty(t, jobs)
	})
}

// look reads all there is of a job.
func look(t *testing.T, j *journal.Journal, job int64) {
	t.Helper()
	_, err := j.Job(job)
	require.NoError(t, err)
	_, err = j.Intakes(job)
	require.NoError(t, err)
	_, err = j.BenchReadings(job)
	require.NoError(t, err)
	drives, err := j.Drives(job)
	require.NoError(t, err)
	for _, d := range drives {
		played(t, j, d.ID)
	}
}
