package journal_test

import (
	"database/sql"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"stumble/misfire/journal"
	"stumble/obd"
)

// hour is an hour's drive at fifty exchanges a second.
const hour = 180_000

// BenchmarkRecord is what recording costs a drive for one exchange and its sample: in the drive's goroutine, and
// with the saver's work. The baseline puts the same readings and exchanges into plain tables, a transaction for every
// half second.
func BenchmarkRecord(b *testing.B) {
	said, told := script(4096)
	b.Run("journal", func(b *testing.B) {
		j, _, err := journal.Open(filepath.Join(b.TempDir(), "journal.db"), journal.Options{Memory: 1 << 40})
		fatal(b, err)
		defer j.Close()
		r, err := j.StartDrive(wren(b))
		fatal(b, err)
		shift := shifter{length: told[len(told)-1].Received.Sub(morning)}
		var inDrive time.Duration
		used := processor(b)
		b.ReportAllocs()
		for i := 0; b.Loop(); i++ {
			e, s := shift.at(said, told, i)
			began := time.Now()
			r.Exchange(e)
			r.Sample(s)
			inDrive += time.Since(began)
		}
		fatal(b, r.Finish(nil))
		perOp(b, processor(b)-used)
		b.ReportMetric(float64(inDrive.Nanoseconds())/float64(b.N), "ns-in-drive/op")
	})
	// At the pace of a car each half second is saved by itself, its block of ten seconds written anew.
	b.Run("saved", func(b *testing.B) {
		j, _, err := journal.Open(filepath.Join(b.TempDir(), "journal.db"), journal.Options{})
		fatal(b, err)
		defer j.Close()
		r, err := j.StartDrive(wren(b))
		fatal(b, err)
		shift := shifter{length: told[len(told)-1].Received.Sub(morning)}
		used := processor(b)
		for i := 0; b.Loop(); i++ {
			e, s := shift.at(said, told, i)
			r.Exchange(e)
			r.Sample(s)
			if i%25 == 24 {
				fatal(b, r.Save())
			}
		}
		spent := processor(b) - used
		perOp(b, spent)
		b.ReportMetric(100*float64(spent)/float64(b.N)/float64(20*time.Millisecond), "%-of-20ms-exchange")
		fatal(b, r.Finish(nil))
	})
	b.Run("bare", func(b *testing.B) {
		db := bare(b)
		shift := shifter{length: told[len(told)-1].Received.Sub(morning)}
		var t *sql.Tx
		used := processor(b)
		defer func() { perOp(b, processor(b)-used) }()
		for i := 0; b.Loop(); i++ {
			if i%25 == 0 {
				if t != nil {
					fatal(b, t.Commit())
				}
				var err error
				t, err = db.Begin()
				fatal(b, err)
			}
			e, s := shift.at(said, told, i)
			bareInsert(b, t, e, s)
		}
		fatal(b, t.Commit())
	})
}

// BenchmarkPlay plays an hour's drive; the baseline scans the same readings out of a plain table.
func BenchmarkPlay(b *testing.B) {
	said, told := script(hour)
	b.Run("journal", func(b *testing.B) {
		path := filepath.Join(b.TempDir(), "journal.db")
		j, _, err := journal.Open(path, journal.Options{Memory: 1 << 40})
		fatal(b, err)
		r, err := j.StartDrive(wren(b))
		fatal(b, err)
		for i := range said {
			r.Exchange(&said[i])
			r.Sample(&told[i])
		}
		fatal(b, r.Finish(nil))
		b.ReportAllocs()
		used := processor(b)
		for b.Loop() {
			n := 0
			fatal(b, j.Play(r.ID(), func(e journal.Event) error {
				n += len(e.Sample.Readings)
				return nil
			}))
			if n == 0 {
				b.Fatal("nothing played")
			}
		}
		b.StopTimer()
		perOp(b, processor(b)-used)
		fatal(b, j.Close())
		info, err := os.Stat(path)
		fatal(b, err)
		b.ReportMetric(float64(info.Size())/(1<<20), "MiB/hour")
	})
	b.Run("bare", func(b *testing.B) {
		db := bare(b)
		t, err := db.Begin()
		fatal(b, err)
		for i := range told {
			bareInsert(b, t, &said[i], &told[i])
		}
		fatal(b, t.Commit())
		used := processor(b)
		defer func() { perOp(b, processor(b)-used) }()
		for b.Loop() {
			rows, err := db.Query("SELECT sent, received, module, service, pid, part, value, unit FROM readings")
			fatal(b, err)
			for rows.Next() {
				var sent, received int64
				var r obd.Reading
				fatal(b, rows.Scan(&sent, &received, &r.Module.ID, &r.Service, &r.ID, &r.Part, &r.Value, &r.Unit))
			}
			fatal(b, rows.Close())
		}
	})
}

// BenchmarkExchanges reads the raw exchanges of an hour's drive.
func BenchmarkExchanges(b *testing.B) {
	said, _ := script(hour)
	j, _, err := journal.Open(filepath.Join(b.TempDir(), "journal.db"), journal.Options{Memory: 1 << 40})
	fatal(b, err)
	defer j.Close()
	r, err := j.StartDrive(wren(b))
	fatal(b, err)
	for i := range said {
		r.Exchange(&said[i])
	}
	fatal(b, r.Finish(nil))
	used := processor(b)
	for b.Loop() {
		fatal(b, j.Exchanges(r.ID(), func(*obd.Exchange) error { return nil }))
	}
	perOp(b, processor(b)-used)
}

// BenchmarkOpen opens a journal of a thousand drives and lists its jobs; the baseline opens the same file with
// SQLite alone and reads the drives' rows.
func BenchmarkOpen(b *testing.B) {
	path := filepath.Join(b.TempDir(), "journal.db")
	fill(b, path, 1000)
	b.Run("journal", func(b *testing.B) {
		used := processor(b)
		defer func() { perOp(b, processor(b)-used) }()
		for b.Loop() {
			j, _, err := journal.Open(path, journal.Options{})
			fatal(b, err)
			jobs, err := j.Jobs(journal.JobFilter{})
			fatal(b, err)
			drives, err := j.Drives(0)
			fatal(b, err)
			if len(jobs) != 1000 || len(drives) != 1000 {
				b.Fatal(len(jobs), len(drives))
			}
			fatal(b, j.Close())
		}
	})
	b.Run("bare", func(b *testing.B) {
		used := processor(b)
		defer func() { perOp(b, processor(b)-used) }()
		for b.Loop() {
			db, err := sql.Open("sqlite", path)
			fatal(b, err)
			rows, err := db.Query("SELECT * FROM drives")
			fatal(b, err)
			n := 0
			for rows.Next() {
				n++
			}
			if fatal(b, rows.Close()); n != 1000 {
				b.Fatal(n)
			}
			fatal(b, db.Close())
		}
	})
}

// fill makes a journal of jobs with one drive of a minute each.
func fill(b *testing.B, path string, drives int) {
	b.Helper()
	j, _, err := journal.Open(path, journal.Options{})
	fatal(b, err)
	said, told := script(3000)
	for i := range drives {
		info := wren(b)
		info.Vehicle.Name = fmt.Sprintf("Larkspur Wren %d", i)
		r, err := j.StartDrive(info)
		fatal(b, err)
		for i := range said {
			r.Exchange(&said[i])
			r.Sample(&told[i])
		}
		fatal(b, r.Finish([]byte(`{}`)))
	}
	fatal(b, j.Close())
}

// script makes up a drive beforehand.
func script(n int) (said []obd.Exchange, told []obd.Sample) {
	c := newCar(1)
	for range n {
		e, s := c.next()
		told = append(told, s.Clone())
		kept := *e
		kept.Answer = append([]byte(nil), e.Answer...)
		said = append(said, kept)
	}
	return said, told
}

// shifter repeats a script with the times going on.
type shifter struct {
	length time.Duration
	e      obd.Exchange
	s      obd.Sample
}

func (f *shifter) at(said []obd.Exchange, told []obd.Sample, i int) (*obd.Exchange, *obd.Sample) {
	by := f.length * time.Duration(i/len(said))
	f.e, f.s = said[i%len(said)], told[i%len(told)]
	f.e.Sent, f.e.Received = f.e.Sent.Add(by), f.e.Received.Add(by)
	f.s.Sent, f.s.Received = f.e.Sent, f.e.Received
	return &f.e, &f.s
}

func bare(b *testing.B) *sql.DB {
	b.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(b.TempDir(), "bare.db")+"?_journal_mode=WAL&_synchronous=FULL")
	fatal(b, err)
	b.Cleanup(func() { db.Close() })
	_, err = db.Exec(`CREATE TABLE readings (sent INTEGER, received INTEGER, module INTEGER, service INTEGER, pid INTEGER, part INTEGER, value REAL, unit TEXT);
		CREATE TABLE said (sent INTEGER, received INTEGER, request BLOB, answer BLOB)`)
	fatal(b, err)
	return db
}

func bareInsert(b *testing.B, t *sql.Tx, e *obd.Exchange, s *obd.Sample) {
	_, err := t.Exec("INSERT INTO said VALUES (?, ?, ?, ?)", e.Sent.UnixNano(), e.Received.UnixNano(), e.Request, e.Answer)
	fatal(b, err)
	for _, r := range s.Readings {
		_, err := t.Exec("INSERT INTO readings VALUES (?, ?, ?, ?, ?, ?, ?, ?)", s.Sent.UnixNano(), s.Received.UnixNano(), r.Module.ID, byte(r.Service), r.ID, r.Part, r.Value, string(r.Unit))
		fatal(b, err)
	}
}

// perOp reports processor time, for the other figures are spoilt by whatever else the machine does.
func perOp(b *testing.B, used time.Duration) {
	b.ReportMetric(float64(used.Nanoseconds())/float64(b.N), "cpu-ns/op")
}

func fatal(b *testing.B, err error) {
	b.Helper()
	if err != nil {
		b.Fatal(err)
	}
}
