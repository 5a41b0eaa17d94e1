package job

import (
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/journal"
	"stumble/obd"
)

// Note keeps a note, a repair or a swap in a job. done is when it was done; where that is the zero time it was done now,
// after all drives that the job holds, whatever their clocks said.
func Note(j *journal.Journal, job int64, n journal.Note, done, now time.Time) (err error) {
	n.At, n.Written = done, now
	if done.IsZero() {
		n.At = now
		if n.Order, err = j.Now(job); err != nil {
			return err
		}
	}
	return j.AddNote(job, n)
}

// Cylinders returns how many cylinders the engine of a job has: by its layout, else as its newest drive counted, else by
// how many the car reports counts of; 0 when nobody tells.
func Cylinders(j *journal.Journal, b *journal.Job) (n int, err error) {
	if layout, err := engine.Find(b.Vehicle.Layout); err == nil {
		return layout.Cylinders, nil
	}
	drives, err := j.Drives(b.ID)
	for i := range drives {
		if c := drives[i].Engine.Cylinders; c > 0 {
			n = c
		}
	}
	if n > 0 || err != nil {
		return n, err
	}
	records, err := j.Intakes(b.ID)
	for i := range records {
		if in := records[i].Intake; in != nil {
			n = max(n, countedCylinders(in))
		}
	}
	return n, err
}

// countedCylinders is the highest cylinder that a car reports a count of.
func countedCylinders(in *obd.Intake) (n int) {
	for i := range in.Tests {
		if cylinder, is := obd.MisfireCylinder(in.Tests[i].MID, in.Tests); is {
			n = max(n, cylinder)
		}
	}
	return n
}
