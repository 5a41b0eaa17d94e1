package job

import (
	"context"
	"slices"
	"time"

	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/vehicle"
)

// codedOf returns the cylinders that the misfire codes of the car named when it was driven: by the newest reading of them
// before the drive ended, else the first after it. A code from before a repair says nothing of a drive after it, nor one
// from before parts were exchanged; id is 0 of a drive that has but begun. What cannot be read of the job names none: it
// is told where the job is opened, and no drive is held up by it.
func codedOf(j *journal.Journal, job, id int64, ended time.Time) []int {
	records, err := j.Intakes(job)
	if err != nil {
		return nil
	}
	r := readingAt(records, id, ended)
	if r == nil {
		return nil
	}
	coded := codedCylinders(r.Codes)
	if len(coded) == 0 {
		return nil
	}
	c, err := Open(j, job, Options{})
	if err != nil {
		return nil
	}
	deeds, err := c.Deeds()
	if err != nil || slices.ContainsFunc(deeds, func(d Deed) bool { return c.parts(&d, r, id, ended) }) {
		return nil
	}
	return coded
}

// readCodes reads and saves the codes of a car whose job holds no reading of them yet. What cannot be read or saved holds
// no drive up; the error is that ctx has ended.
func (s *Saver) readCodes(ctx context.Context, c *Car, job int64, at time.Time) error {
	if records, err := s.Journal.Intakes(job); err != nil || len(records) > 0 {
		return nil
	}
	if read := c.codes(ctx); len(read.Modules) > 0 {
		order, _ := s.Journal.Now(job)
		_, _ = s.Journal.AddCodes(job, at, read, order)
	}
	return context.Cause(ctx)
}

// codes reads the lists of codes; an empty report where they cannot be read. Its exchanges are not those of the drive.
func (c *Car) codes(ctx context.Context) *obd.CodeReport {
	defer c.countAnew()
	read, err := vehicle.ReadCodeLists(ctx, c.Adapter, c.Caps)
	if err != nil {
		return &obd.CodeReport{}
	}
	return read
}

// setCoded has the drive know which cylinders the car's codes name.
func (d *Drive) setCoded(cylinders []int) {
	d.Config.Coded = cylinders
	d.tally.SetCoded(cylinders)
}

// parts reports whether a deed lies between a reading of the codes and a drive.
func (c *Case) parts(d *Deed, r *journal.IntakeRecord, id int64, ended time.Time) bool {
	afterDrive := d.At.After(ended) && !(id == 0 && d.sure)
	if i := c.index(id); i >= 0 {
		afterDrive = d.place > i
	}
	afterReading := d.At.After(r.At)
	if place := c.place(r.Order, r.At); r.Order.Known && place != d.place {
		afterReading = d.place > place
	}
	return afterDrive != afterReading
}

// readingAt is the reading of the codes that tells of a drive: the newest before its end, else the first after. A drive of
// number 0 has but begun.
func readingAt(records []journal.IntakeRecord, id int64, ended time.Time) (found *journal.IntakeRecord) {
	before := func(r *journal.IntakeRecord) bool {
		if r.Order.Known && id != 0 {
			return r.Order.Drive < id
		}
		return !r.At.After(ended)
	}
	for i := range records {
		if r := &records[i]; r.Codes != nil && (found == nil || before(r)) {
			found = r
		}
	}
	return found
}

// codedCylinders are the cylinders that stored, pending and permanent misfire codes name, in order.
func codedCylinders(r *obd.CodeReport) (coded []int) {
	for _, code := range Codes(r, StoredCodes, PendingCodes, PermanentCodes) {
		if cylinder, one := code.MisfireCylinder(); one {
			coded = append(coded, cylinder)
		}
	}
	return coded
}
