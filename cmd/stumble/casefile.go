package main

import (
	"errors"
	"fmt"
	"slices"

	"stumble/misfire"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/views"
)

// caseFile is all that the journal holds of one job, with its drives counted anew by the rules of today. Whoever
// explains or reports a job begins here.
type caseFile struct {
	Job      journal.Job
	Intakes  []journal.IntakeRecord // the oldest first, as all lists here
	Drives   []caseDrive            // those that hold samples
	Empty    int                    // drives left out because they hold none
	Notes    []journal.Note
	Bench    []journal.BenchReading
	Verdicts []journal.Verdict
}

// caseDrive is a drive of the job.
type caseDrive struct {
	Stored journal.Drive
	State  *views.State // as it was at the end; its Summary is never nil
	Marks  []journal.Mark
}

// Summary is what the drive told.
func (d *caseDrive) Summary() *misfire.Summary { return d.State.Summary }

// newestJob is the number of the job that was begun last.
func newestJob(j *journal.Journal) (int64, error) {
	found, err := j.Jobs(journal.JobFilter{Limit: 1})
	switch {
	case err != nil:
		return 0, err
	case len(found) == 0:
		return 0, fmt.Errorf("the journal %s holds no job: begin one with 'stumble intake' or 'stumble watch'", j.Path())
	}
	return found[0].ID, nil
}

// heeding is who is to be given the samples of a drive as it is counted, beside its tally, which they come before; nil
// for nobody. It is asked for each drive before its first sample.
type heeding func(*player) func(*obd.Sample)

// caseFile opens a job; 0 is the newest. heed may be nil.
func (a *app) caseFile(j *journal.Journal, job int64, o *engineOptions, heed heeding) (c *caseFile, err error) {
	if job == 0 {
		if job, err = newestJob(j); err != nil {
			return nil, err
		}
	}
	c = &caseFile{}
	if c.Job, err = j.Job(job); err != nil {
		return nil, err
	}
	var failed [4]error
	c.Intakes, failed[0] = j.Intakes(job)
	c.Notes, failed[1] = j.Notes(job)
	c.Bench, failed[2] = j.BenchReadings(job)
	c.Verdicts, failed[3] = j.Verdicts(job)
	if err := errors.Join(failed[:]...); err != nil {
		return nil, err
	}
	drives, err := j.Drives(job)
	if err != nil {
		return nil, err
	}
	for _, stored := range drives {
		if stored.Samples == 0 {
			c.Empty++
			continue
		}
		d, err := a.caseDrive(j, stored, o, heed)
		if err != nil {
			return nil, err
		}
		c.Drives = append(c.Drives, d)
	}
	return c, nil
}

// caseDrive counts one drive anew, in the way that playback does.
func (a *app) caseDrive(j *journal.Journal, stored journal.Drive, o *engineOptions, heed heeding) (d caseDrive, err error) {
	d.Stored = stored
	if d.Marks, err = j.Marks(stored.ID); err != nil {
		return d, err
	}
	p, err := a.player(j, stored.ID, &playbackOptions{watchOptions: watchOptions{engine: *o}, pace: speed{most: true}})
	if err != nil {
		return d, err
	}
	p.alone = true
	var who func(*obd.Sample)
	if heed != nil {
		who = heed(p)
	}
	d.State, err = p.ended(a.ctx, who)
	return d, err
}

// newestIntake is the last full reading of the car; nil when there is none.
func (c *caseFile) newestIntake() *obd.Intake {
	for _, r := range slices.Backward(c.Intakes) {
		if r.Intake != nil {
			return r.Intake
		}
	}
	return nil
}
