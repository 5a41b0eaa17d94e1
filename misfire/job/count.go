package job

import (
	"context"
	"fmt"
	"slices"
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/obd"
)

// Options say how stored drives are counted. The zero value counts them as they were counted live.
type Options struct {
	// Engine gives the engine and the map to count by, told those that a drive was counted by; nil for those.
	Engine func(misfire.Config) (misfire.Config, error)
	// Anew decodes the raw exchanges instead of taking the samples.
	Anew bool
	// Progress hears, sample by sample, how far the counting of a drive is; nil for nobody. Two drives may be counted
	// at once: it may be called by two goroutines.
	Progress func(d *journal.Drive, at time.Time)
}

// NoSamplesError says that a drive holds nothing to count.
type NoSamplesError struct{ Job, Drive int64 }

func (e NoSamplesError) Error() string { return fmt.Sprintf("drive %d has no samples", e.Drive) }

func (o *Options) stored(j *journal.Journal, id int64) (*stored, error) {
	d, err := j.Drive(id)
	switch {
	case err != nil:
		return nil, err
	case d.Samples == 0:
		return nil, NoSamplesError{d.Job, d.ID}
	}
	source := Stored(j, d)
	if o.Anew {
		if source, err = Anew(j, d); err != nil {
			return nil, err
		}
	}
	return source.(*stored), nil
}

// open opens a stored drive with what is known of its car and engine.
func (o *Options) open(j *journal.Journal, id int64) (s *stored, setup Setup, cfg misfire.Config, err error) {
	if s, err = o.stored(j, id); err != nil {
		return nil, setup, cfg, err
	}
	if setup, err = SetupOf(&s.drive); err != nil {
		return nil, setup, cfg, err
	}
	cfg = misfire.Config{Engine: s.drive.Engine, Map: s.drive.Map, Gearbox: setup.Box(), Wraps: setup.Table().Wraps()}
	if o.Engine != nil {
		cfg, err = o.Engine(cfg)
	}
	if err == nil {
		err = FitEngine(&cfg, 0)
	}
	if err != nil {
		return nil, setup, cfg, err
	}
	cfg.Coded = codedOf(j, s.drive.Job, s.drive.ID, s.drive.Ended)
	return s, setup, cfg, nil
}

// Drive makes ready to count a stored drive, as fast as it can be read.
func (o *Options) Drive(j *journal.Journal, id int64) (*Drive, error) {
	s, setup, cfg, err := o.open(j, id)
	if err != nil {
		return nil, err
	}
	return newDrive(s, setup, cfg, s.drive.Catalyst, s.drive.Emission), nil
}

// Source opens a stored drive as it is, uncounted. The error may be a NoSamplesError or an AnewError.
func (o *Options) Source(j *journal.Journal, id int64) (Source, error) {
	s, err := o.stored(j, id)
	if err != nil {
		return nil, err
	}
	return s, nil
}

// Counted is a stored drive that was counted.
type Counted struct {
	Stored  journal.Drive
	Setup   Setup
	Config  misfire.Config // it was counted by
	Summary *misfire.Summary
	Heard   *cause.Collector
	Marks   []Mark           // with the gaps that were found while it was counted
	Moments []misfire.Moment // one a second from beginning to end, where they were asked for
}

// never is longer than any drive.
const never = 1000 * time.Hour

// Summarise counts a drive to its end and returns what it came to.
func (d *Drive) Summarise(ctx context.Context) (*misfire.Summary, error) {
	if err := d.Run(ctx, never, func(*State) error { return nil }); err != nil {
		return nil, err
	}
	d.tally.Finish()
	return d.tally.Summary(), d.failed
}

// heeding returns who is to be given the samples of a drive before they are counted.
type heeding func(*Drive) func(*obd.Sample)

// count counts a stored drive. heed may be nil; strip asks for the Moments.
func (o *Options) count(ctx context.Context, j *journal.Journal, id int64, strip bool, heed heeding) (*Counted, error) {
	s, setup, cfg, err := o.open(j, id)
	if err != nil {
		return nil, err
	}
	d := newDrive(s, setup, cfg, s.drive.Catalyst, s.drive.Emission)
	c := &Counted{Stored: s.drive, Setup: setup, Config: cfg}
	var follow func(*obd.Sample)
	if heed != nil {
		follow = heed(d)
	}
	taken := stripTaker{tally: d.tally}
	d.Heed(func(sample *obd.Sample) {
		if o.Progress != nil {
			o.Progress(&s.drive, sample.Received)
		}
		if follow != nil {
			follow(sample)
		}
		if strip {
			taken.take(sample.Received)
		}
	})
	if c.Summary, err = d.Summarise(ctx); err != nil {
		return nil, err
	}
	c.Heard, c.Marks = d.heard, d.marks
	if strip {
		c.Moments = joinMoments(taken.moments, d.tally.Strip(nil))
	}
	return c, nil
}

// stripTaker takes the strip of a drive while it is counted.
type stripTaker struct {
	tally   *misfire.Tally
	moments []misfire.Moment
	due     time.Time
}

// stripEvery is how often the strip is taken: well within the quarter of an hour that a tally keeps of it.
const stripEvery = 5 * time.Minute

// take adds the newest moments of the drive to those kept.
func (t *stripTaker) take(now time.Time) {
	if now.Before(t.due) {
		return
	}
	t.moments = joinMoments(t.moments, t.tally.Strip(nil))
	t.due = now.Add(stripEvery)
}

// joinMoments goes on with the newer moments where they begin: what overlaps may have been added to since.
func joinMoments(older, newer []misfire.Moment) []misfire.Moment {
	if len(newer) == 0 {
		return older
	}
	at, _ := slices.BinarySearchFunc(older, newer[0].At, func(m misfire.Moment, t time.Time) int {
		return m.At.Compare(t)
	})
	return append(older[:at], newer...)
}
