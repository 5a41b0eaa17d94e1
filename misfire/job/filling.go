package job

import (
	"slices"
	"time"

	"stumble/misfire"
	"stumble/misfire/proof"
)

// Filling is the proof of a repair while the drive runs that is to complete it: the comparison made anew every so often
// with what the drive has counted by then. It is for the drive's goroutine.
type Filling struct {
	in   proof.Input // of the drives that are over
	now  *proof.Comparison
	next time.Time
	hear func(*proof.Comparison) error
}

// fillingEvery is how often a filling proof is looked at, in the drive's time. Its line is valid however often it is.
const fillingEvery = 10 * time.Second

// Filling returns the comparison's proof, to be filled by a drive. hear is given each new state of it; an error of its ends
// the drive.
func (c *Comparison) Filling(hear func(*proof.Comparison) error) *Filling {
	return &Filling{in: c.input, now: c.Result, hear: hear}
}

// Fill has the drive fill a proof: the guide that leads it ends when the proof is reached or broken. Call it before
// Run.
func (d *Drive) Fill(f *Filling) { d.filling = f }

// fill looks at the proof that the drive fills.
func (d *Drive) fill(now time.Time) {
	f := d.filling
	if f == nil || now.Before(f.next) || d.lead.Guide.Over() {
		return
	}
	f.next = now.Add(fillingEvery)
	if err := f.with(d.tally.Summary()); err != nil {
		d.failed = err
		return
	}
	d.failed = f.hear(f.now)
	if f.now.Settled() {
		d.lead.Guide.Enough(now)
	}
}

// with compares anew, the running drive among those after.
func (f *Filling) with(s *misfire.Summary) (err error) {
	in := f.in
	in.After.Drives = append(slices.Clip(in.After.Drives), s)
	f.now, err = proof.Compare(in)
	return err
}
