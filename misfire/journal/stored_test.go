package journal_test

import (
	"bytes"
	"compress/gzip"
	"database/sql"
	"fmt"
	"hash/fnv"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd"
)

// The files under testdata/journals were written by the program as it was when each version of the schema was current:
// version-1-first by the first that kept a journal, version-1 by the last before version 2, version-1-cut by the same
// in the middle of a drive, with the log and the drive's lock beside it; version-2 is version-1 as the last before version 3
// brought it to version 2 and exported its job, version-3 is that as the last before version 4 did. The numbers below were printed by that
// program, too, from what it read of them. The simulated car is a Larkspur Curlew.

// unpackedJournal puts a stored journal into a folder of the test's own, with its log and a lock where there is one.
func unpackedJournal(t testing.TB, name string) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "journal.db")
	for _, ending := range []string{"", "-wal"} {
		file, err := os.Open(filepath.Join("testdata", "journals", name+".db"+ending+".gz"))
		if ending != "" && os.IsNotExist(err) {
			continue
		}
		require.NoError(t, err)
		defer file.Close()
		unzipped, err := gzip.NewReader(file)
		require.NoError(t, err)
		data, err := io.ReadAll(unzipped)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path+ending, data, 0o600))
	}
	return path
}

// heldDrive is what a stored drive holds, in numbers.
type heldDrive struct {
	started, ended             int64
	samples, readings          int
	sampleSum                  uint64
	exchanges, bytes, failures int
	exchangeSum                uint64
	lost                       int
	marks                      []string
}

func holdings(t testing.TB, j *journal.Journal, d *journal.Drive) heldDrive {
	t.Helper()
	held := heldDrive{started: d.Started.UnixNano(), ended: d.Ended.UnixNano(), lost: d.Lost}
	sum := fnv.New64a()
	require.NoError(t, j.Play(d.ID, func(e journal.Event) error {
		if m := e.Mark; m != nil {
			text := m.Text
			if m.Gap != nil {
				text = m.Gap.Error()
			}
			held.marks = append(held.marks, fmt.Sprint(held.samples, " ", m.At.UnixNano(), " ", m.Kind, " ", m.Gear, " ", text))
			return nil
		}
		held.samples++
		held.readings += len(e.Sample.Readings)
		fmt.Fprintln(sum, e.Sample.Sent.UnixNano(), e.Sample.Received.UnixNano())
		for _, r := range e.Sample.Readings {
			fmt.Fprintln(sum, r.Module.ID, r.Module.Bits, byte(r.Service), r.ID, r.Part, string(r.Unit), math.Float64bits(r.Value))
		}
		return nil
	}))
	held.sampleSum = sum.Sum64()
	sum.Reset()
	require.NoError(t, j.Exchanges(d.ID, func(e *obd.Exchange) error {
		held.exchanges++
		held.bytes += len(e.Request) + len(e.Answer)
		if e.Err != nil {
			held.failures++
		}
		fmt.Fprintln(sum, e.Sent.UnixNano(), e.Received.UnixNano(), string(e.Request), string(e.Answer), e.Err)
		return nil
	}))
	held.exchangeSum = sum.Sum64()
	return held
}

func firstDrive() heldDrive {
	return heldDrive{
		started: 1772438410615636764, ended: 1772438428140782849,
		samples: 856, readings: 5283, sampleSum: 0x220c55a642be320f,
		exchanges: 857, bytes: 56162, failures: 1, exchangeSum: 0xf01136a688f73698, lost: 1,
		marks: []string{
			"100 1772438413020377644 gear D pulling away",
			"200 1772438415114588969 note ? shudder felt",
			"300 1772438417094870239 gap ? a sample is larger than a journal can hold",
		},
	}
}

func secondDrive() heldDrive {
	return heldDrive{
		started: 1772449203966920139, ended: 1772449212140104984,
		samples: 355, readings: 2192, sampleSum: 0xf6e899cc09f56fa4,
		exchanges: 355, bytes: 23313, exchangeSum: 0xcff727bbed508f33,
		marks: []string{
			"100 1772449206719745344 gear D pulling away",
			"200 1772449208831300359 note ? shudder felt",
		},
	}
}

// assertStored holds a journal to what the stored files hold of their one job and its drives.
func assertStored(t *testing.T, j *journal.Journal, states ...journal.DriveState) {
	t.Helper()
	jobs, err := j.Jobs(journal.JobFilter{})
	require.NoError(t, err)
	require.Len(t, jobs, 1)
	job := jobs[0]
	assert.Equal(t, "shudders", job.Name)
	assert.Equal(t, "shudders when pulling away warm", job.Complaint)
	assert.Equal(t, time.Unix(0, 1772438400123456789).UTC(), job.Opened)
	assert.Equal(t, [4]string{"Larkspur Curlew", "0LKWR16A4R0104217", "grey", ""}, [4]string{job.Vehicle.Name, job.Vehicle.VIN, job.Vehicle.Note, job.Vehicle.Map})
	assertStoredReadings(t, j, job.ID)
	assertStoredWords(t, j, job.ID, len(states))

	drives, err := j.Drives(job.ID)
	require.NoError(t, err)
	require.Len(t, drives, len(states))
	want := []heldDrive{firstDrive(), secondDrive()}
	for i := range drives {
		d := &drives[i]
		assert.Equal(t, states[i], d.State)
		assert.Equal(t, []string{"before", "after"}[i], d.Name)
		assert.Equal(t, "ELM327 v2.2", d.Adapter)
		assert.Equal(t, obd.CAN11At500, d.Protocol)
		assert.Equal(t, []int{1, 5, 3, 6, 2, 4}, d.Engine.FiringOrder)
		assert.Equal(t, [][2]int{{1, 6}, {2, 5}, {3, 4}}, d.Engine.Pairs)
		assert.Equal(t, "v6-narrow-153624", d.Engine.Key)
		assert.JSONEq(t, `{"title":"Larkspur Curlew"}`, string(d.Setup))
		held := holdings(t, j, d)
		assert.Equal(t, want[i], held)
		assert.Equal(t, [2]int{held.samples, held.exchanges}, [2]int{d.Samples, d.Exchanges})
	}
}

// assertStoredReadings looks at what was read at rest and measured by hand.
func assertStoredReadings(t *testing.T, j *journal.Journal, job int64) {
	t.Helper()
	intakes, err := j.Intakes(job)
	require.NoError(t, err)
	require.Len(t, intakes, 2)
	in := intakes[0].Intake
	assert.Equal(t, obd.CAN11At500, in.Protocol)
	assert.InDelta(t, 12.3, in.Voltage, 0)
	assert.Equal(t, "0LKCW30B3P0220871", in.VIN)
	assert.Equal(t, [4]int{27, 39, 2, 1}, [4]int{len(in.Tests), len(in.Live), len(in.Modules), len(in.Frames)})
	assert.Equal(t, []obd.Code{0x0300, 0x0174}, intakes[1].Codes.Modules[0].Stored)
	assert.Equal(t, []obd.Code{0x0300}, intakes[1].Codes.Modules[0].Permanent)
	assert.Nil(t, intakes[1].Intake)
	bench, err := j.BenchReadings(job)
	require.NoError(t, err)
	require.Len(t, bench, 2)
	assert.Equal(t, "coil 5 primary 0.7 Ω warm {\"bad\":true}", fmt.Sprint(bench[0].Kind, " ", bench[0].Cylinder, " ",
		bench[0].Quantity, " ", bench[0].Value, " ", bench[0].Unit, " ", bench[0].Text, " ", string(bench[0].Judged)))
	assert.True(t, math.IsNaN(bench[1].Value))
	assert.Equal(t, "wet", bench[1].Text)
}

// assertStoredWords looks at notes and verdicts.
func assertStoredWords(t *testing.T, j *journal.Journal, job int64, drives int) {
	t.Helper()
	notes, err := j.Notes(job)
	require.NoError(t, err)
	require.Len(t, notes, 2)
	assert.Equal(t, "complaint: shudders when pulling away warm", notes[0].Text)
	assert.Equal(t, "Repaired: coil of cylinder 5 is new", notes[1].Text)
	assert.Equal(t, int64(1772442000123456789), notes[1].At.UnixNano())
	verdicts, err := j.Verdicts(job)
	require.NoError(t, err)
	var found []string
	for _, v := range verdicts {
		found = append(found, fmt.Sprint(v.Drive != 0, " ", v.Kind, " ", string(v.Data)))
	}
	want := []string{`true drive {"sentence":"Cylinder 5 misses","worse_in":"D"}`, `false causes {"ranked":[]}`, `false comparison {"outcome":"not_yet"}`}
	if drives > 1 && len(verdicts) == 4 {
		want = append(want, `true drive {"sentence":"no misses","worse_in":""}`)
	}
	assert.Equal(t, want, found)
}

func TestStoredJournalsOpen(t *testing.T) {
	for _, name := range []string{"version-1-first", "version-1", "version-2", "version-3"} {
		t.Run(name, func(t *testing.T) {
			path := unpackedJournal(t, name)
			j, notices := open(t, path)
			assert.Empty(t, notices)
			assertStored(t, j, journal.DriveFinished, journal.DriveFinished)
			sound(t, path)
		})
	}
}

// A journal whose program was killed in the middle of a drive, with its log and its lock.
func TestStoredJournalOfACrashOpens(t *testing.T) {
	path := unpackedJournal(t, "version-1-cut")
	lock := path + ".live-VORHZHUIZD53K4RTGVZX2VO65U"
	require.NoError(t, os.WriteFile(lock, nil, 0o600))
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.Equal(t, journal.NoticeInterrupted, notices[0].Kind)
	assert.Equal(t, journal.Notice{Kind: journal.NoticeInterrupted, Drive: 2, Job: 1, Vehicle: "Larkspur Curlew", Length: 8 * time.Second, Samples: 355, Exchanges: 355}, notices[0])
	assert.False(t, exists(lock))
	assertStored(t, j, journal.DriveFinished, journal.DriveInterrupted)
	sound(t, path)
}

// A job exported by version 1, as lines of JSON.
func TestStoredJobIsImported(t *testing.T) {
	file, err := os.ReadFile(filepath.Join("testdata", "journals", "version-1.job"))
	require.NoError(t, err)
	j := fresh(t)
	found, err := j.ImportJob(bytes.NewReader(file))
	require.NoError(t, err)
	assert.Equal(t, journal.Imported{Job: 1, NewJob: true, Added: 10}, found)
	assertStored(t, j, journal.DriveFinished)
	var kinds []gear.State
	_, marks := played(t, j, 1)
	for _, m := range marks {
		kinds = append(kinds, m.Gear)
	}
	assert.Equal(t, []gear.State{gear.Drive, gear.Unknown, gear.Unknown}, kinds)
	sound(t, j.Path())
}

// A job exported by version 2 or 3: a journal with one job in it.
func TestStoredJobOfALaterVersionIsImported(t *testing.T) {
	for _, name := range []string{"version-2", "version-3"} {
		file, err := os.Open(filepath.Join("testdata", "journals", name+".job.gz"))
		require.NoError(t, err)
		defer file.Close()
		unzipped, err := gzip.NewReader(file)
		require.NoError(t, err)
		j := fresh(t)
		found, err := j.ImportJob(unzipped)
		require.NoError(t, err)
		assert.Equal(t, journal.Imported{Job: 1, NewJob: true, Added: 12}, found)
		assertStored(t, j, journal.DriveFinished, journal.DriveFinished)
	}
}

// A journal of the version before this on a disk that cannot be written is read as it is: its notes came after what its
// clock says, and no job of it was in hand.
func TestStoredJournalBeforeDeedsIsReadWhereItCannotBeWritten(t *testing.T) {
	path := unpackedJournal(t, "version-3")
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	forbidWriting(t, filepath.Dir(path))
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	assertStored(t, j, journal.DriveFinished, journal.DriveFinished)
	notes, err := j.NoteHistory(1)
	require.NoError(t, err)
	require.NotEmpty(t, notes)
	assert.Equal(t, journal.NotePlain, notes[0].Kind)
	assert.False(t, notes[0].Order.Known)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

// A journal of version 1 with one job in it may be given where an exported job is.
func TestStoredJournalIsImported(t *testing.T) {
	file, err := os.ReadFile(unpackedJournal(t, "version-1"))
	require.NoError(t, err)
	j := fresh(t)
	found, err := j.ImportJob(bytes.NewReader(file))
	require.NoError(t, err)
	assert.Equal(t, journal.Imported{Job: 1, NewJob: true, Added: 12}, found)
	assertStored(t, j, journal.DriveFinished, journal.DriveFinished)
}

// A journal of version 1 on a disk that cannot be written is read as it is, and a job of it can be taken elsewhere.
func TestStoredJournalIsReadWhereItCannotBeWritten(t *testing.T) {
	path := unpackedJournal(t, "version-1")
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	forbidWriting(t, filepath.Dir(path))
	j, notices := open(t, path)
	require.Len(t, notices, 1)
	assertStored(t, j, journal.DriveFinished, journal.DriveFinished)
	to, file := fresh(t), exported(t, j, 1)
	_, err = to.ImportJob(bytes.NewReader(file))
	require.NoError(t, err)
	assertStored(t, to, journal.DriveFinished, journal.DriveFinished)
	taken := filepath.Join(t.TempDir(), "taken.db")
	require.NoError(t, os.WriteFile(taken, file, 0o600))
	assert.Equal(t, "6", asked(t, taken, "SELECT protocol FROM drives LIMIT 1"))
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

// The protocols of version 1, by the words it stored, are numbers in version 2: those of the ELM327's AT SP.
func TestStoredProtocolsBecomeNumbers(t *testing.T) {
	words := []string{
		"not known yet", "SAE J1850 PWM", "SAE J1850 VPW", "ISO 9141-2", "ISO 14230-4, 5-baud start", "ISO 14230-4, fast start",
		"ISO 15765-4, 11-bit, 500 kbit/s", "ISO 15765-4, 29-bit, 500 kbit/s", "ISO 15765-4, 11-bit, 250 kbit/s", "ISO 15765-4, 29-bit, 250 kbit/s",
	}
	for n, word := range words {
		path := unpackedJournal(t, "version-1")
		alter(t, path, "UPDATE drives SET protocol = '"+word+"' WHERE id = 1")
		j, _, err := journal.Open(path, journal.Options{})
		require.NoError(t, err)
		d, err := j.Drive(1)
		require.NoError(t, err)
		assert.Equal(t, obd.Protocol(n), d.Protocol)
		require.NoError(t, j.Close())
		want := fmt.Sprint(n)
		if n == 0 {
			want = ""
		}
		assert.Equal(t, want, asked(t, path, "SELECT protocol FROM drives WHERE id = 1"))
		assert.Equal(t, "6", asked(t, path, "SELECT protocol FROM drives WHERE id = 2"))
	}
}

// asked is one value of a file, as SQLite alone reads it.
func asked(t testing.TB, path, query string) (answer string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.QueryRow(query).Scan(&answer))
	return answer
}

// A damaged journal of version 1 is salvaged into one of the newest, its first page lost or not.
func TestStoredJournalIsSalvaged(t *testing.T) {
	for name, spoil := range map[string]func(t *testing.T, path string){
		"first page": func(t *testing.T, path string) { overwrite(t, path, 0, noise(4096)) },
		"notes":      func(t *testing.T, path string) { overwrite(t, path, pageOf(t, path, "notes"), noise(4096)) },
	} {
		t.Run(name, func(t *testing.T) {
			path := unpackedJournal(t, "version-1")
			require.NoError(t, os.WriteFile(path+".suspect", nil, 0o600))
			spoil(t, path)
			j, notices := open(t, path)
			require.NotEmpty(t, notices)
			assert.Equal(t, journal.NoticeSetAside, notices[0].Kind)
			drives, err := j.Drives(0)
			require.NoError(t, err)
			require.Len(t, drives, 2)
			assert.Equal(t, obd.CAN11At500, drives[1].Protocol)
			assert.Equal(t, firstDrive(), holdings(t, j, &drives[1]))
			assert.Equal(t, secondDrive(), holdings(t, j, &drives[0]))
			assert.Equal(t, "6", asked(t, path, "SELECT protocol FROM drives WHERE id = 1"))
			sound(t, path)
		})
	}
}

// What is added to a journal of version 1 lies beside what it holds.
func TestStoredJournalIsGoneOnWith(t *testing.T) {
	path := unpackedJournal(t, "version-1")
	j, _ := open(t, path)
	info := wren(t)
	info.Job = 1
	r, err := j.StartDrive(info)
	require.NoError(t, err)
	told, said := record(r, newCar(1), 1200)
	require.NoError(t, r.Finish(nil))
	samples, _ := played(t, j, r.ID())
	assert.Equal(t, told, samples)
	assert.Equal(t, said, exchanged(t, j, r.ID()))
	drives, err := j.Drives(1)
	require.NoError(t, err)
	require.Len(t, drives, 3)
	assert.Equal(t, firstDrive(), holdings(t, j, &drives[0]))
	assert.Equal(t, "2", asked(t, path, "SELECT count(DISTINCT form) FROM samples"))
	sound(t, path)
}
