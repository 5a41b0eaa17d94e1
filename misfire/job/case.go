package job

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/obd"
)

// Case is all that the journal holds of one job, the oldest first in each list. Its drives are counted when they are
// first asked for, by the rules of today.
type Case struct {
	Job      journal.Job
	Intakes  []journal.IntakeRecord
	Drives   []journal.Drive // those that hold samples
	Empty    int             // drives left out because they hold none
	Notes    []journal.Note
	Bench    []Reading
	Verdicts []journal.Verdict
	Book     *cause.Book // that ranks its causes

	journal *journal.Journal
	opts    Options
	counted map[int64]*Counted
	deeds   []Deed           // nil before they were asked for
	uids    map[string]int64 // of all drives, those without samples too
}

// NoJobError says that a journal holds no job.
type NoJobError struct{ Path string }

func (e NoJobError) Error() string { return fmt.Sprintf("the journal %s holds no job", e.Path) }

// InHand returns the job that somebody had in hand last: that something was last saved in, whatever clocks said. The error
// is a NoJobError where there is none.
func InHand(j *journal.Journal) (journal.Job, error) {
	all, err := HandledSince(j, time.Time{})
	switch {
	case err != nil:
		return journal.Job{}, err
	case len(all) == 0:
		return journal.Job{}, NoJobError{j.Path()}
	}
	return all[0], nil
}

// HandledSince returns the jobs that somebody had in hand since a time, the last first; with the zero time all of them.
func HandledSince(j *journal.Journal, since time.Time) ([]journal.Job, error) {
	all, err := j.Jobs(journal.JobFilter{})
	all = slices.DeleteFunc(all, func(b journal.Job) bool { return b.TouchedAt.Before(since) })
	slices.SortStableFunc(all, func(a, b journal.Job) int { return cmp.Compare(b.Touched, a.Touched) })
	return all, err
}

// OpenSince returns the jobs that somebody had in hand since a time and that nobody closed, the last first.
func OpenSince(j *journal.Journal, since time.Time) ([]journal.Job, error) {
	all, err := HandledSince(j, since)
	if err != nil {
		return nil, err
	}
	var open []journal.Job
	for _, b := range all {
		verdicts, err := j.Verdicts(b.ID)
		if err != nil {
			return nil, err
		}
		if !slices.ContainsFunc(verdicts, func(v journal.Verdict) bool { return v.Kind == verdictClosed }) {
			open = append(open, b)
		}
	}
	return open, nil
}

// Open opens a job by its number; 0 is the one in hand.
func Open(j *journal.Journal, number int64, opts Options) (c *Case, err error) {
	c = &Case{journal: j, opts: opts, counted: make(map[int64]*Counted), Book: cause.StandardBook()}
	if number == 0 {
		c.Job, err = InHand(j)
	} else {
		c.Job, err = j.Job(number)
	}
	if err != nil {
		return nil, err
	}
	var failed [5]error
	c.Intakes, failed[0] = j.Intakes(c.Job.ID)
	c.Notes, failed[1] = j.Notes(c.Job.ID)
	c.Bench, failed[2] = ReadingsOf(j, c.Job.ID)
	c.Verdicts, failed[3] = j.Verdicts(c.Job.ID)
	c.Drives, failed[4] = j.Drives(c.Job.ID)
	if err := errors.Join(failed[:]...); err != nil {
		return nil, err
	}
	all := len(c.Drives)
	c.uids = make(map[string]int64, all)
	for i := range c.Drives {
		c.uids[c.Drives[i].UID] = c.Drives[i].ID
	}
	c.Drives = slices.DeleteFunc(c.Drives, func(d journal.Drive) bool { return d.Samples == 0 })
	c.Empty = all - len(c.Drives)
	return c, nil
}

// Count returns the drives of the job, counted.
func (c *Case) Count(ctx context.Context) ([]*Counted, error) { return c.count(ctx, false) }

func (c *Case) count(ctx context.Context, strip bool) (all []*Counted, err error) {
	for i := range c.Drives {
		id := c.Drives[i].ID
		d := c.counted[id]
		if d == nil || strip && d.Moments == nil {
			if d, err = c.opts.count(ctx, c.journal, id, strip, nil); err != nil {
				return nil, err
			}
			c.counted[id] = d
		}
		all = append(all, d)
	}
	return all, nil
}

// NewestIntake returns the last full reading of the car; nil when there is none.
func (c *Case) NewestIntake() *obd.Intake {
	for _, r := range slices.Backward(c.Intakes) {
		if r.Intake != nil {
			return r.Intake
		}
	}
	return nil
}

// keep saves a verdict under the job.
func (c *Case) keep(kind string, at time.Time, data []byte) error {
	v := journal.Verdict{Job: c.Job.ID, At: at, Kind: kind, Data: data}
	id, err := c.journal.AddVerdict(v)
	if err == nil {
		v.ID = id
		c.Verdicts = append(c.Verdicts, v)
	}
	return err
}
