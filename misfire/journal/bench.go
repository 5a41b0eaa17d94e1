package journal

import (
	"database/sql"
	"encoding/json"
	"errors"
	"math"
	"time"
)

// BenchReading is one measurement by hand.
type BenchReading struct {
	ID       int64
	Job      int64
	At       time.Time
	Kind     string  // wire, plug, coil ...
	Cylinder int     // 0: the whole engine
	Quantity string  // what was measured
	Value    float64 // NaN where only Text tells
	Unit     string
	Text     string
	Judged   []byte // JSON of who judged it; empty when nobody did
}

// errNoJSON is a fault of the caller's.
var errNoJSON = errors.New("what is to be kept is not JSON")

// AddBench saves a reading under a job, and returns its ID.
func (j *Journal) AddBench(b BenchReading) (id int64, err error) {
	if !jsonOrEmpty(b.Judged) {
		return 0, errNoJSON
	}
	uid := newUID()
	err = j.writeJob(b.Job, func(t tx) (err error) {
		id, err = t.insert("INSERT INTO bench (uid, job_id, at_ns, kind, cylinder, quantity, value, unit, text, judged) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
			uid, b.Job, nanoseconds(b.At), b.Kind, b.Cylinder, b.Quantity, orNull(b.Value), b.Unit, b.Text, string(b.Judged))
		if err != nil {
			return err
		}
		return t.touch(b.Job, b.At)
	})
	return id, err
}

// BenchReadings lists the readings of a job in the order they were saved.
func (j *Journal) BenchReadings(job int64) ([]BenchReading, error) {
	return list(j, func(row scanner) (b BenchReading, err error) {
		var at int64
		var value sql.NullFloat64
		err = row.Scan(&b.ID, &b.Job, &at, &b.Kind, &b.Cylinder, &b.Quantity, &value, &b.Unit, &b.Text, &b.Judged)
		b.At, b.Value = timeOf(at), orNaN(value)
		return b, err
	}, "SELECT id, job_id, at_ns, kind, cylinder, quantity, value, unit, text, judged FROM bench WHERE job_id = ? ORDER BY id", job)
}

// DeleteBench deletes a reading, for good.
func (j *Journal) DeleteBench(id int64) error {
	return j.erase(func(t tx) error {
		return t.known("bench reading", "bench", id, func(t tx) error { return t.exec("DELETE FROM bench WHERE id = ?", id) })
	})
}

func jsonOrEmpty(data []byte) bool { return len(data) == 0 || json.Valid(data) }

// orNull is a number for a column that may be NULL.
func orNull(v float64) any {
	if math.IsNaN(v) {
		return nil
	}
	return v
}

func orNaN(v sql.NullFloat64) float64 {
	if !v.Valid {
		return math.NaN()
	}
	return v.Float64
}
