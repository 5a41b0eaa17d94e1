package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"stumble/misfire/bench"
	"stumble/misfire/engine"
	"stumble/misfire/journal"
	"stumble/views"
)

// storedReading is a reading as it stands in the journal; id 0 while it does not.
type storedReading struct {
	id      int64
	at      time.Time
	reading bench.Reading
	then    *bench.Mark // what it was judged when it was taken; nil where that is not known
}

// storedReadings are those of a job, in the order they were taken.
func storedReadings(j *journal.Journal, job int64) ([]storedReading, error) {
	rows, err := j.BenchReadings(job)
	return restoredAll(rows), err
}

func restoredAll(rows []journal.BenchReading) []storedReading {
	all := make([]storedReading, len(rows))
	for i := range rows {
		all[i] = restored(&rows[i])
	}
	return all
}

func restored(row *journal.BenchReading) storedReading {
	s := storedReading{id: row.ID, at: row.At, reading: bench.Reading{
		Part: bench.Part(row.Kind), Cylinder: row.Cylinder, Quantity: bench.Quantity(row.Quantity), Value: row.Value, Unit: row.Unit, Text: onOneLine(row.Text),
	}}
	s.reading.Restore(row.Judged)
	var was bench.Record
	if len(row.Judged) > 0 && json.Unmarshal(row.Judged, &was) == nil {
		s.then = &was.Mark
	}
	return s
}

// benchPage judges stored readings as they are now.
func benchPage(job int64, stored []storedReading) *views.Bench {
	page := &views.Bench{Job: job}
	for i, j := range bench.Judge(readingsOf(stored)) {
		page.Readings = append(page.Readings, views.BenchReading{ID: stored[i].id, At: stored[i].at, Judgement: j, Then: stored[i].then})
	}
	return page
}

func readingsOf(stored []storedReading) []bench.Reading {
	all := make([]bench.Reading, len(stored))
	for i := range stored {
		all[i] = stored[i].reading
	}
	return all
}

// findReading finds a reading by its number, in one job or, with 0, in any.
func findReading(j *journal.Journal, job, id int64) (storedReading, int64, error) {
	jobs, err := j.Jobs(journal.JobFilter{})
	if err != nil {
		return storedReading{}, 0, err
	}
	for i := range jobs {
		if job != 0 && jobs[i].ID != job {
			continue
		}
		stored, err := storedReadings(j, jobs[i].ID)
		if err != nil {
			return storedReading{}, 0, err
		}
		if at := slices.IndexFunc(stored, func(s storedReading) bool { return s.id == id }); at >= 0 {
			return stored[at], jobs[i].ID, nil
		}
	}
	where := "the journal"
	if job != 0 {
		where = fmt.Sprintf("job %d", job)
	}
	return storedReading{}, 0, fmt.Errorf("there is no reading %d in %s; 'stumble bench' lists them", id, where)
}

// cylindersOf is how many cylinders the engine of a job has: by its layout, else as its newest drive counted; 0 when
// nobody tells.
func cylindersOf(j *journal.Journal, job *journal.Job) (int, error) {
	if layout, err := engine.Find(job.Vehicle.Layout); err == nil {
		return layout.Cylinders, nil
	}
	drives, err := j.Drives(job.ID)
	n := 0
	for i := range drives {
		if c := drives[i].Engine.Cylinders; c > 0 {
			n = c
		}
	}
	return n, err
}

// save saves readings under the job, each with what it is judged among all, and returns how many it could. Without a
// journal they are only kept in mind.
func (b *benching) save(all []bench.Reading) (saved int, err error) {
	first := len(b.stored)
	at := b.clock.Now()
	for i := range all {
		b.stored = append(b.stored, storedReading{at: at, reading: all[i]})
		if k, known := bench.KindOf(all[i].Part, all[i].Quantity); known && !slices.ContainsFunc(b.fresh, func(o bench.Kind) bool { return o.Key == k.Key }) {
			b.fresh = append(b.fresh, k)
		}
	}
	judged := bench.Judge(readingsOf(b.stored))
	if b.journal == nil {
		return len(all), nil
	}
	if err := b.open(); err != nil {
		return 0, err
	}
	if err := b.learn(); err != nil {
		return 0, err
	}
	for i := first; i < len(judged); i++ {
		if b.stored[i].id, err = addReading(b.journal, b.job.ID, at, &judged[i]); err != nil {
			return saved, err
		}
		b.stored[i].then = &judged[i].Mark
		saved++
	}
	return saved, nil
}

// addReadings saves readings under a job, each with what it is judged among all of it.
func addReadings(j *journal.Journal, job int64, at time.Time, readings []bench.Reading) error {
	stored, err := storedReadings(j, job)
	if err != nil {
		return err
	}
	judged := bench.Judge(append(readingsOf(stored), readings...))
	for i := len(stored); i < len(judged); i++ {
		if _, err := addReading(j, job, at, &judged[i]); err != nil {
			return err
		}
	}
	return nil
}

// addReading saves one judged reading.
func addReading(j *journal.Journal, job int64, at time.Time, judged *bench.Judgement) (int64, error) {
	record, err := json.Marshal(judged.Record())
	if err != nil {
		return 0, err
	}
	r := &judged.Reading
	row := journal.BenchReading{Job: job, At: at, Kind: string(r.Part), Cylinder: r.Cylinder, Quantity: string(r.Quantity), Unit: r.Unit, Judged: record}
	row.Value, row.Text = r.Columns()
	return j.AddBench(row)
}
