package main

import (
	"context"
	"errors"

	"stumble/misfire/cause"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views"
	"stumble/views/report"
	"stumble/views/screen"
)

// showJobs shows the jobs of the journal on the screen, until the user leaves.
func (a *app) showJobs() error {
	err := a.withJournal(&journalOption{}, a.shelve)
	if errors.Is(err, journal.ErrAbsent) { // nothing was saved yet
		return a.shelve(nil)
	}
	return err
}

// shelve shows the jobs of a journal, nil where there is none.
func (a *app) shelve(j *journal.Journal) error {
	t, err := a.terminal.Take()
	if err != nil {
		return err
	}
	first := screen.NewJobs(a.ctx, &shelf{a, j})
	return onlyUnexpected(screen.Run(a.ctx, t, a.clock, first, a.look(t)))
}

// shelf gives the screens of saved jobs what they show.
type shelf struct {
	app     *app
	journal *journal.Journal // nil while nothing is saved
}

// told is what was asked for, with its error in words for the user.
func told[T any](v T, err error) (T, error) {
	if err != nil {
		err = errors.New(explain(err))
	}
	return v, err
}

func (s *shelf) Jobs() ([]journal.Job, error) {
	if s.journal == nil {
		return nil, nil
	}
	return told(s.journal.Jobs(journal.JobFilter{}))
}

func (s *shelf) Drives(number int64) ([]journal.Drive, error) { return told(s.journal.Drives(number)) }

func (s *shelf) Page(_ context.Context, number int64) (*job.Page, error) {
	return told(job.ReadPage(s.journal, number))
}

func (s *shelf) Causes(ctx context.Context, number int64) (*report.Causes, error) {
	file, err := s.open(number)
	if err != nil {
		return nil, err
	}
	ranked, err := file.Rank(ctx, cause.IgnitionUnknown)
	if err != nil {
		return told[*report.Causes](nil, err)
	}
	return causesShown(ranked), nil
}

func (s *shelf) Bench(_ context.Context, number int64) (*views.Bench, error) {
	readings, err := job.ReadingsOf(s.journal, number)
	us, wrong := s.app.inUSUnits(&settingsOption{}, "")
	return told(benchPage(&job.Bench{Job: journal.Job{ID: number}, Readings: readings}, us && wrong == nil), err)
}

func (s *shelf) Proof(ctx context.Context, number int64) (*report.Comparison, error) {
	file, err := s.open(number)
	if err != nil {
		return nil, err
	}
	found, err := file.Compare(ctx, job.Question{})
	if err != nil {
		return told[*report.Comparison](nil, err)
	}
	return comparisonShown(found), nil
}

func (s *shelf) open(number int64) (*job.Case, error) {
	return told(job.Open(s.journal, number, (&engineOptions{}).counting(false)))
}

// playing is a stored drive beside its screen.
type playing struct {
	*screen.Live
	stop  context.CancelCauseFunc
	ended chan struct{}
}

// Play plays a stored drive back, until its screen is left.
func (s *shelf) Play(number int64) (screen.Screen, error) {
	d, err := s.app.player(s.journal, number, &playbackOptions{}, true)
	if err != nil {
		return told[screen.Screen](nil, err)
	}
	ctx, stop := context.WithCancelCause(s.app.ctx)
	p := &playing{screen.NewLive(&d.board, d.actions()), stop, make(chan struct{})}
	go func() {
		defer close(p.ended)
		if err := onlyUnexpected(d.Run(ctx, screenEvery, d.showing(d.board.show))); err != nil {
			d.board.warn(explain(err))
		}
	}()
	return p, nil
}

// Close ends the playback.
func (p *playing) Close() {
	p.stop(job.ErrTimeUp)
	<-p.ended
}
