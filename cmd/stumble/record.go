package main

import (
	"fmt"

	"github.com/spf13/pflag"

	"stumble/misfire/job"
	"stumble/obd"
)

// recordOptions say where in the journal something is saved, if at all.
type recordOptions struct {
	journal         journalOption
	off             bool
	job             int64
	another         bool
	name, complaint string
}

func (o *recordOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	f.BoolVar(&o.off, "no-journal", false, "save nothing")
	f.Int64Var(&o.job, "job", 0, "save under the job of this `NUMBER`; without it under the newest of this vehicle")
	f.BoolVar(&o.another, "new-job", false, "begin another job for this vehicle")
	f.StringVar(&o.name, "name", "", "what to call the job, a `NAME`")
	f.StringVar(&o.complaint, "complaint", "", "what the customer complains of, a `TEXT`")
}

// aboutRecording ends the help of a command that saves.
const aboutRecording = `What is seen is saved in the journal, under the newest job of this vehicle, or a new one; --no-journal saves nothing. The
simulated car is practice: it is saved only where --journal names a file.`

// chosen reports whether a place in the journal was asked for.
func (o *recordOptions) chosen() bool {
	return o.job != 0 || o.another || o.name != "" || o.complaint != ""
}

// wanted reports whether to save at all.
func (o *recordOptions) wanted(simulated bool) (bool, error) {
	switch {
	case o.off && (o.journal.path != "" || o.chosen()):
		return false, usagef("--no-journal excludes --journal, --job, --new-job, --name and --complaint: choose")
	case o.job != 0 && o.another:
		return false, usagef("--job and --new-job exclude each other: choose one")
	case o.off:
		return false, nil
	case simulated && o.journal.path == "":
		if o.chosen() {
			return false, usagef("the simulated car is saved only where --journal names a file: name one")
		}
		return false, nil
	}
	return true, nil
}

// place is where in the journal something is to be saved.
func (o *recordOptions) place() job.Place {
	return job.Place{Job: o.job, Another: o.another, Name: o.name, Complaint: o.complaint}
}

// saver opens the journal, unless nothing is to be saved. What is wrong with the journal is told when there is something to
// save; what is wrong with the choice of a job is an error at once.
func (a *app) saver(t *target, o *recordOptions) (*job.Saver, error) {
	if wanted, err := o.wanted(t.sim != nil); err != nil || !wanted {
		return nil, err
	}
	s := &job.Saver{Place: o.place()}
	s.Journal, s.Why = a.openJournal(&o.journal, false)
	if err := s.Check(); err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// saveIntake saves what was read and tells where.
func (a *app) saveIntake(s *job.Saver, found *obd.Intake, title string) error {
	number, err := s.Intake(found, title)
	if err != nil {
		return fmt.Errorf("the intake is NOT SAVED: %w", err)
	}
	if number != 0 {
		fmt.Fprintf(a.err, "saved in job %d\n", number)
	}
	return nil
}
