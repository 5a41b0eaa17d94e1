package journal_test

import (
	"bytes"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/journal"
)

// settled lets time pass in the car until a recorder has saved all it has.
func settled(t testing.TB, r *journal.Recorder, c *car) {
	t.Helper()
	until(t, r, c, func() bool { s := r.State(); return s.Saving && s.Behind == 0 })
}

// until lets time pass in the car until something is so.
func until(t testing.TB, r *journal.Recorder, c *car, so func() bool) {
	t.Helper()
	require.Eventually(t, func() bool {
		c.now = c.now.Add(time.Second)
		r.Tick(c.now)
		return so()
	}, 20*time.Second, time.Millisecond)
}

// written makes a journal of jobs, each with a note and a drive of some exchanges, and closes it.
func written(t testing.TB, jobs, exchanges int) (path string, drives []int64) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "journal.db")
	j, _, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	for i := range jobs {
		info := wren(t)
		info.Vehicle.Name = fmt.Sprintf("Larkspur Wren %d", i)
		r, err := j.StartDrive(info)
		require.NoError(t, err)
		record(r, newCar(uint64(i)), exchanges)
		require.NoError(t, r.Finish([]byte(`{}`)))
		d, err := j.Drive(r.ID())
		require.NoError(t, err)
		require.NoError(t, j.AddNote(d.Job, journal.Note{At: morning, Text: "seen"}))
		drives = append(drives, r.ID())
	}
	require.NoError(t, j.Close())
	return path, drives
}

func TestReadOnlyFolderIsSaidAndLeftBehind(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "data", "journal.db")
	mend := forbidWriting(t, dir)
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.Equal(t, journal.NoticeTrouble, notices[0].Kind)
	assert.ErrorContains(t, notices[0].Err, "it may not be written; allow writing")

	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	told, said := record(r, c, 300)
	state := r.State()
	assert.False(t, state.Saving)
	require.ErrorIs(t, state.Why, journal.ErrReadOnly)
	assert.Equal(t, morning, state.Since)
	assert.InDelta(t, 6, state.Behind.Seconds(), 0.5)
	_, err = j.Jobs(journal.JobFilter{})
	require.Error(t, err)

	mend()
	more, saidMore := record(r, c, 300)
	settled(t, r, c)
	require.NoError(t, r.Finish(nil))
	samples, _ := played(t, j, r.ID())
	assert.Equal(t, append(told, more...), samples, "saved from its beginning")
	assert.Equal(t, append(said, saidMore...), exchanged(t, j, r.ID()))
	sound(t, path)
}

func TestReadOnlyJournalCanBeRead(t *testing.T) {
	path, drives := written(t, 2, 100)
	forbidWriting(t, filepath.Dir(path))
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	jobs, err := j.Jobs(journal.JobFilter{})
	require.NoError(t, err)
	assert.Len(t, jobs, 2)
	samples, _ := played(t, j, drives[1])
	assert.Len(t, samples, 100)
	require.ErrorIs(t, j.NameJob(jobs[0].ID, "other"), journal.ErrReadOnly)
}

func TestFullDiskIsSaidAndSavingGoesOn(t *testing.T) {
	dir := smallDisk(t, 512)
	path := filepath.Join(dir, "journal.db")
	j, notices := open(t, path)
	require.Empty(t, notices)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	told, said := record(r, c, 100)
	settled(t, r, c)
	ballast := filepath.Join(dir, "ballast")
	fillDisk(t, ballast)

	more, saidMore := record(r, c, 3000)
	told, said = append(told, more...), append(said, saidMore...)
	until(t, r, c, func() bool { return !r.State().Saving })
	require.ErrorIs(t, r.State().Why, journal.ErrFull)
	require.ErrorIs(t, r.Finish(nil), journal.ErrFull, "and nothing is lost by trying")

	require.NoError(t, os.Remove(ballast))
	require.NoError(t, r.Finish(nil))
	samples, _ := played(t, j, r.ID())
	assert.Equal(t, told, samples)
	assert.Equal(t, said, exchanged(t, j, r.ID()))
	sound(t, path)
}

// A limit of SQLite's own stands in for a full disk where no small one can be mounted.
func TestMemoryIsBoundedAndGapsAreMarked(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	j, _, err := journal.Open(path, journal.Options{Memory: 64 << 10, Patience: time.Millisecond})
	require.NoError(t, err)
	defer j.Close()
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	release := hold(t, path)
	c := newCar(1)
	told, _ := record(r, c, 6000) // two minutes
	// A save that is under way keeps what it took: only once it failed is the oldest given up.
	until(t, r, c, func() bool { return !r.State().Saving && r.State().Lost > 0 })
	require.ErrorIs(t, r.State().Why, journal.ErrBusy)
	release()
	require.NoError(t, r.Finish(nil))
	lost := r.State().Lost // a save that was under way may have failed since, and given up more

	d, err := j.Drive(r.ID())
	require.NoError(t, err)
	assert.Equal(t, lost, d.Lost)
	assert.Equal(t, 12000, d.Samples+d.Exchanges+d.Lost)
	samples, marks := played(t, j, r.ID())
	assert.Equal(t, d.Samples, len(samples))
	assert.Equal(t, told[len(told)-1], samples[len(samples)-1], "the newest are kept")
	require.NotEmpty(t, marks)
	for _, m := range marks {
		assert.Equal(t, journal.MarkGap, m.Kind)
		assert.ErrorContains(t, m.Gap, "were not saved in time")
		assert.Greater(t, m.Until.Sub(m.At), 9*time.Second)
	}
}

func TestTwoProgramsRecordAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	var recorders []*journal.Recorder
	var journals []*journal.Journal
	for range 2 {
		j, notices, err := journal.Open(path, journal.Options{})
		require.NoError(t, err)
		assert.Empty(t, notices, "the other's drive is alive")
		defer j.Close()
		r, err := j.StartDrive(wren(t))
		require.NoError(t, err)
		journals, recorders = append(journals, j), append(recorders, r)
	}
	done := make(chan error)
	for i, r := range recorders {
		go func() {
			record(r, newCar(uint64(i)), 2000)
			done <- r.Finish(nil)
		}()
	}
	for range recorders {
		require.NoError(t, <-done)
	}
	for i, r := range recorders {
		want, _ := script(1)
		samples, _ := played(t, journals[1-i], r.ID())
		assert.Len(t, samples, 2000)
		assert.Equal(t, want[0].Sent.Location(), samples[0].Sent.Location())
	}
	sound(t, path)
}

func TestManyProgramsBeginOneJournal(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	done := make(chan error)
	for n := range 4 {
		go func() {
			j, notices, err := journal.Open(path, journal.Options{})
			if err == nil && len(notices) > 0 {
				err = fmt.Errorf("%v", notices)
			}
			if err == nil {
				_, err = j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: fmt.Sprint(n)}, Opened: morning})
				err = errors.Join(err, j.Close())
			}
			done <- err
		}()
	}
	for range 4 {
		require.NoError(t, <-done)
	}
	j, _ := open(t, path)
	jobs, err := j.Jobs(journal.JobFilter{})
	require.NoError(t, err)
	assert.Len(t, jobs, 4)
	sound(t, path)
}

func TestHeldFileIsSaid(t *testing.T) {
	path, drives := written(t, 1, 50)
	release := hold(t, path)
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.ErrorContains(t, notices[0].Err, "another program holds it")
	samples, _ := played(t, j, drives[0])
	assert.Len(t, samples, 50, "readers need no lock")
	require.ErrorIs(t, j.NameDrive(drives[0], "x"), journal.ErrBusy)
	release()
	require.NoError(t, j.NameDrive(drives[0], "x"))
}

func TestMovedFileIsBegunAnew(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	record(r, c, 100)
	settled(t, r, c)
	require.NoError(t, os.Rename(j.Path(), j.Path()+".elsewhere"))
	more, _ := record(r, c, 1000)
	require.NoError(t, r.Finish(nil))
	samples, _ := played(t, j, r.ID())
	assert.Equal(t, more[len(more)-1], samples[len(samples)-1])
	notices := j.Notices()
	require.NotEmpty(t, notices)
	assert.ErrorContains(t, notices[0].Err, "moved or deleted")
	sound(t, j.Path())
}

func TestNewerAndForeignFilesAreRefusedInOneLine(t *testing.T) {
	for name, c := range map[string]struct {
		statement string
		want      error
	}{
		"newer":   {"PRAGMA user_version = 99", journal.ErrNewer},
		"foreign": {"PRAGMA application_id = 7", journal.ErrForeign},
	} {
		t.Run(name, func(t *testing.T) {
			path, _ := written(t, 1, 1)
			alter(t, path, c.statement)
			before, err := os.ReadFile(path)
			require.NoError(t, err)
			_, _, err = journal.Open(path, journal.Options{})
			require.ErrorIs(t, err, c.want)
			assert.NotContains(t, err.Error(), "\n")
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.Equal(t, before, after)
		})
	}
	_, _, err := journal.Open(t.TempDir(), journal.Options{})
	require.ErrorContains(t, err, "is not a file")
}

func TestUnknownIDsAreRefused(t *testing.T) {
	j := fresh(t)
	_, jobErr := j.Job(7)
	_, driveErr := j.Drive(7)
	_, startErr := j.StartDrive(journal.DriveInfo{Job: 7})
	for _, err := range []error{
		jobErr, driveErr, startErr, j.DeleteJob(7), j.DeleteDrive(7), j.AddNote(7, journal.Note{}), j.NameJob(7, ""),
		j.Play(7, nil), j.Exchanges(7, nil), j.DeleteBench(7),
	} {
		require.ErrorIs(t, err, journal.ErrUnknown)
		assert.Contains(t, err.Error(), "7 is not in the journal: list the jobs")
	}
}

// damages are ways in which a file can be spoilt, and what must still be readable of a journal of three jobs.
var damages = map[string]struct {
	spoil  func(t *testing.T, path string)
	drives int // at least; -1: the file is not set aside
}{
	"empty":   {func(t *testing.T, path string) { require.NoError(t, os.Truncate(path, 0)) }, -1},
	"garbage": {func(t *testing.T, path string) { overwrite(t, path, 0, noise(200_000)) }, 0},
	"short garbage": {func(t *testing.T, path string) {
		require.NoError(t, os.WriteFile(path, []byte("not a journal\n"), 0o600))
	}, 0},
	"first page":   {func(t *testing.T, path string) { overwrite(t, path, 0, noise(4096)) }, 3},
	"header":       {func(t *testing.T, path string) { overwrite(t, path, 0, make([]byte, 100)) }, 3},
	"cut":          {func(t *testing.T, path string) { cut(t, path, 3) }, 3},
	"cut in half":  {func(t *testing.T, path string) { cut(t, path, 2) }, 0},
	"drives' page": {func(t *testing.T, path string) { overwrite(t, path, pageOf(t, path, "drives"), noise(4096)) }, 3},
	"jobs' page":   {func(t *testing.T, path string) { overwrite(t, path, pageOf(t, path, "jobs"), noise(4096)) }, 3},
}

func TestDamagedFileIsSetAsideAndSalvaged(t *testing.T) {
	for name, c := range damages {
		t.Run(name, func(t *testing.T) {
			path, _ := written(t, 3, 1500)
			c.spoil(t, path)
			spoilt, err := os.ReadFile(path)
			require.NoError(t, err)
			j, notices := open(t, path)
			if c.drives < 0 {
				assert.Empty(t, notices)
				assert.False(t, exists(path+".damaged-1"))
				sound(t, path)
				return
			}
			require.NotEmpty(t, notices)
			assert.Equal(t, journal.NoticeSetAside, notices[0].Kind)
			assert.Equal(t, path+".damaged-1", notices[0].Aside)
			kept, err := os.ReadFile(path + ".damaged-1")
			require.NoError(t, err)
			assert.True(t, bytes.Equal(spoilt, kept), "the damaged file is kept byte for byte")
			drives, err := j.Drives(0)
			require.NoError(t, err)
			assert.GreaterOrEqual(t, len(drives), c.drives)
			for _, d := range drives {
				_, err := j.Job(d.Job)
				require.NoError(t, err)
				played(t, j, d.ID)
			}
			r, err := j.StartDrive(wren(t))
			require.NoError(t, err)
			record(r, newCar(9), 10)
			require.NoError(t, r.Finish(nil))
			sound(t, path)
			for _, left := range []string{".copy", ".first", ".part", ".salvaged", ".suspect"} {
				assert.False(t, exists(path+left), left)
			}
		})
	}
}

// Any byte may be spoilt: nothing may panic or hang, and the file is sound or set aside.
func TestFlippedBits(t *testing.T) {
	dice := rand.New(rand.NewPCG(1, 2))
	original, _ := written(t, 3, 300)
	whole, err := os.ReadFile(original)
	require.NoError(t, err)
	for n := range 40 {
		path := filepath.Join(t.TempDir(), "journal.db")
		spoilt := bytes.Clone(whole)
		for range 1 + n%4 {
			spoilt[dice.IntN(len(spoilt))] ^= 1 << dice.IntN(8)
		}
		require.NoError(t, os.WriteFile(path, spoilt, 0o600))
		j, _, err := journal.Open(path, journal.Options{})
		if err != nil { // its version or owner was hit
			continue
		}
		drives, err := j.Drives(0)
		if err == nil {
			for _, d := range drives {
				_ = j.Play(d.ID, func(journal.Event) error { return nil })
			}
		}
		_ = j.Close()
		// What was met while reading is mended at the next start.
		again, _, err := journal.Open(path, journal.Options{})
		require.NoError(t, err)
		require.NoError(t, again.Close())
	}
}

func TestSpoiltSamplesLeaveAGap(t *testing.T) {
	path, drives := written(t, 1, 1500)
	alter(t, path, "UPDATE samples SET data = CAST(substr(data, 1, 2000) || x'00ff00ff' || substr(data, 2005) AS BLOB) WHERE block = 1")
	j, _ := open(t, path)
	samples, marks := played(t, j, drives[0])
	require.Len(t, marks, 1)
	assert.Equal(t, journal.MarkGap, marks[0].Kind)
	assert.ErrorContains(t, marks[0].Gap, " samples cannot be read: block 1 is damaged: ")
	assert.InDelta(t, 1000, len(samples), 10, "one block of three is missing, ten seconds")
}

// A page of samples may be spoilt without anything else: it is met when they are read, and mended at the next start.
func TestDamageMetWhileReading(t *testing.T) {
	path, drives := written(t, 3, 1500)
	overwrite(t, path, pageOf(t, path, "samples"), noise(4096))
	j, notices, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	require.Empty(t, notices)
	err = j.Play(drives[0], func(journal.Event) error { return nil })
	require.ErrorIs(t, err, journal.ErrDamaged)
	assert.Contains(t, err.Error(), "start again")
	require.NoError(t, j.Close())

	again, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.Equal(t, journal.NoticeSetAside, notices[0].Kind)
	for _, d := range drives {
		assert.Len(t, exchanged(t, again, d), 1500, "the exchanges are all there, to be decoded again")
	}
	sound(t, path)
}

func TestFinishTwiceIsOnce(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	require.NoError(t, r.Finish([]byte(`{}`)))
	require.NoError(t, r.Finish([]byte(`{}`)))
	verdicts, err := j.Verdicts(1)
	require.NoError(t, err)
	assert.Len(t, verdicts, 1)
	record(r, newCar(1), 10)
	r.Mark(morning, 0, "late")
	r.Tick(morning)
	d, err := j.Drive(r.ID())
	require.NoError(t, err)
	assert.Zero(t, d.Samples, "what comes after the end is not taken")
}

func TestClosedJournalKeepsTheDriveSoFar(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	j, _, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	told, _ := record(r, newCar(1), 130)
	require.NoError(t, j.Close())
	require.ErrorIs(t, j.NameJob(1, "x"), journal.ErrClosed)
	again, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.Equal(t, journal.Notice{Kind: journal.NoticeInterrupted, Drive: 1, Job: 1, Vehicle: "Larkspur Wren", Length: 3 * time.Second, Samples: 130, Exchanges: 130}, notices[0])
	samples, _ := played(t, again, 1)
	assert.Equal(t, told, samples)
}

// A job that cannot be looked up when its drive begins is found when the drive can be saved.
func TestDriveFindsItsJobLater(t *testing.T) {
	path, _ := written(t, 2, 1)
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	db.SetMaxOpenConns(1)
	for _, statement := range []string{"PRAGMA locking_mode = EXCLUSIVE", "UPDATE jobs SET name = name"} {
		_, err = db.Exec(statement)
		require.NoError(t, err)
	}
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	info := wren(t)
	info.Job = 1
	r, err := j.StartDrive(info)
	require.NoError(t, err)
	require.ErrorIs(t, r.State().Why, journal.ErrBusy)
	record(r, newCar(1), 10)
	assert.Zero(t, r.ID())
	require.NoError(t, db.Close())
	require.NoError(t, r.Finish(nil))
	d, err := j.Drive(r.ID())
	require.NoError(t, err)
	assert.Equal(t, int64(1), d.Job)
	jobs, err := j.Jobs(journal.JobFilter{})
	require.NoError(t, err)
	assert.Len(t, jobs, 2)
}

// A damaged file is left where it is as long as another program records into it.
func TestDamagedFileInUseIsLeft(t *testing.T) {
	path, _ := written(t, 1, 1)
	one, _, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	r, err := one.StartDrive(wren(t))
	require.NoError(t, err)
	require.NoError(t, one.Disconnect())
	overwrite(t, path, 0, noise(100))
	_, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.ErrorContains(t, notices[0].Err, "another program holds it")
	assert.False(t, exists(path+".damaged-1"))
	require.NoError(t, r.Finish(nil), "the one that records sets it aside")
	assert.True(t, exists(path+".damaged-1"))
	require.NoError(t, one.Close())
}

func TestLocksOfCrashesAreRemoved(t *testing.T) {
	path, _ := written(t, 1, 1)
	left := path + ".live-ABC"
	require.NoError(t, os.WriteFile(left, nil, 0o600))
	open(t, path)
	assert.False(t, exists(left))
}

// Damage that is met while recording: the drive goes on in a new file.
func TestDamageWhileRecording(t *testing.T) {
	path, _ := written(t, 3, 1500)
	j, notices := open(t, path)
	require.Empty(t, notices)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	record(r, c, 100)
	settled(t, r, c)
	require.NoError(t, j.Disconnect())
	overwrite(t, path, 0, noise(8192))
	record(r, c, 4000)
	until(t, r, c, func() bool { return exists(path + ".damaged-1") })
	more, _ := record(r, c, 100)
	require.NoError(t, r.Finish(nil))
	samples, _ := played(t, j, r.ID())
	assert.Equal(t, more[len(more)-1], samples[len(samples)-1])
	sound(t, path)
}

func noise(n int) []byte {
	dice := rand.NewChaCha8([32]byte{1})
	data := make([]byte, n)
	_, _ = dice.Read(data)
	return data
}

func overwrite(t *testing.T, path string, at int64, data []byte) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	defer f.Close()
	_, err = f.WriteAt(data, at)
	require.NoError(t, err)
}

// cut takes the last part of a file away.
func cut(t *testing.T, path string, part int64) {
	t.Helper()
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.NoError(t, os.Truncate(path, info.Size()-info.Size()/part))
}

// pageOf is where the first page of a table lies.
func pageOf(t *testing.T, path, table string) int64 {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer db.Close()
	var page int64
	require.NoError(t, db.QueryRow("SELECT rootpage FROM sqlite_schema WHERE name = ?", table).Scan(&page))
	head, err := os.ReadFile(path)
	require.NoError(t, err)
	return (page - 1) * int64(binary.BigEndian.Uint16(head[16:]))
}

// alter changes a file with SQLite alone.
func alter(t testing.TB, path, statement string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer db.Close()
	_, err = db.Exec(statement)
	require.NoError(t, err)
}

// hold locks a journal for writing, as another program would, until the returned function is called.
func hold(t testing.TB, path string) func() {
	t.Helper()
	db, err := sql.Open("sqlite", path+"?_txlock=immediate")
	require.NoError(t, err)
	held, err := db.Begin()
	require.NoError(t, err)
	return func() {
		require.NoError(t, held.Rollback())
		require.NoError(t, db.Close())
	}
}

// Both connections are as the promises of the package need them: a commit is on the disk before the next begins, rows
// go with their parents, and nothing in a file's schema is run. (2 is FULL: https://sqlite.org/pragma.html.)
func TestConnectionsAreSetAsPromised(t *testing.T) {
	j := fresh(t)
	worked(t, j)
	writing, reading, err := j.Settings()
	require.NoError(t, err)
	assert.Equal(t, map[string]string{
		"synchronous": "2", "journal_mode": "wal", "foreign_keys": "1", "trusted_schema": "0", "cell_size_check": "1",
		"secure_delete": "0", "journal_size_limit": "4194304", "busy_timeout": "50", "auto_vacuum": "2",
	}, writing)
	assert.Equal(t, "0", reading["trusted_schema"])
	assert.Equal(t, "1", reading["cell_size_check"])
}

// What lies behind a spoilt page of a table is salvaged too.
func TestRowsOnBothSidesOfDamageAreSalvaged(t *testing.T) {
	path, _ := written(t, 1, 1)
	alter(t, path, `WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 2000)
		INSERT INTO notes (uid, job_id, at_ns, text) SELECT 'note-' || i, 1, i, 'line ' || i FROM n`)
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	middle := bytes.LastIndex(file, []byte("line 1000"))
	require.Positive(t, middle)
	overwrite(t, path, int64(middle/4096*4096), noise(4096))
	require.NoError(t, os.WriteFile(path+".suspect", nil, 0o600))
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.Equal(t, journal.NoticeSetAside, notices[0].Kind)
	notes, err := j.Notes(1)
	require.NoError(t, err)
	assert.Equal(t, "line 2000", notes[len(notes)-1].Text)
	assert.Greater(t, len(notes), 1800)
	assert.Less(t, len(notes), 2001)
	assert.Equal(t, 2001-len(notes), notices[0].Bad)
}

// A file that lost its last page is found out, though its small tables are whole.
func TestLastPageMissing(t *testing.T) {
	path, _ := written(t, 1, 1500)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.NoError(t, os.Truncate(path, info.Size()-4096))
	_, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.Equal(t, journal.NoticeSetAside, notices[0].Kind)
}

// A second of the drive after a failure saving is tried again.
func TestSavingIsTriedAgainAfterASecond(t *testing.T) {
	path := filepath.Join(t.TempDir(), "journal.db")
	j, _ := open(t, path)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	release := hold(t, path)
	record(r, c, 10)
	require.ErrorIs(t, r.Save(), journal.ErrBusy)
	release()
	r.Tick(c.now.Add(1100 * time.Millisecond))
	require.Eventually(t, func() bool { return r.State().Saving }, 20*time.Second, time.Millisecond)
	require.NoError(t, r.Finish(nil))
}

// All blocks of a finished drive are compressed, those too of which nothing was left to be saved when they were full.
func TestFinishedDriveIsCompressed(t *testing.T) {
	j := fresh(t)
	r, err := j.StartDrive(wren(t))
	require.NoError(t, err)
	c := newCar(1)
	for range 200 {
		record(r, c, 10)
		c.now = c.now.Add(600 * time.Millisecond)
		r.Tick(c.now)
		require.NoError(t, r.Save())
	}
	require.NoError(t, r.Finish(nil))
	assert.Equal(t, "0", asked(t, j.Path(), "SELECT count(*) FROM samples WHERE length(data) > 30 * count"))
	assert.Equal(t, "0", asked(t, j.Path(), "SELECT count(*) FROM exchanges WHERE length(data) > 30 * count"))
	assert.Equal(t, "16", asked(t, j.Path(), "SELECT count(*) FROM exchanges"))
}
