package job

import (
	"context"
	"errors"
	"fmt"
	"time"

	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/vehicle"
)

// Source gives what a drive consists of. It is for one goroutine.
type Source interface {
	// Events gives every event to take in order of time, until the drive is over, ctx ends or take returns an error,
	// which it returns. An event is good until take returns.
	Events(ctx context.Context, take func(Event) error) error
	// Now is the time of the drive: of a car its clock's, of a stored drive that of its newest sample. A source whose
	// drive has keys gives it to any goroutine.
	Now() time.Time
	// Health is how the adapter is doing.
	Health() Health
}

// Event is one thing of a drive. One that holds nothing asks for the drive's state to be shown as it stands.
type Event struct {
	Sample *obd.Sample
	Mark   *journal.Mark
	Notice *Notice // what became of the link, the car or what was stored
	Again  bool    // the drive begins again from its first sample: what was counted is void
	Quiet  bool    // of a sample: it is counted, and not shown
}

// Health is how the adapter is doing.
type Health struct {
	Adapter   string  // name and version as it gives them
	Protocol  string  // of the car's bus
	Exchanges int     // of this drive
	PerSecond float64 // exchanges a second of late; NaN when not known
	Lost      bool    // the adapter went away and is sought
}

// Stored gives a drive of the journal as its samples were saved.
func Stored(j *journal.Journal, drive journal.Drive) Source {
	play := func(do func(journal.Event) error) error { return j.Play(drive.ID, do) }
	return &stored{journal: j, drive: drive, play: play}
}

// AnewError says why a drive cannot be decoded anew.
type AnewError struct {
	Drive     int64
	Exchanges bool // it holds raw exchanges, but does not tell their protocol
}

func (e *AnewError) Error() string {
	if e.Exchanges {
		return fmt.Sprintf("drive %d does not tell the protocol of its exchanges", e.Drive)
	}
	return fmt.Sprintf("drive %d holds no raw exchanges to decode anew", e.Drive)
}

// Anew gives a drive of the journal as its raw exchanges tell it by the rules of today: a fault of decoding that was
// mended since is then mended for old drives, too. The error is an AnewError, or that the drive cannot be read.
func Anew(j *journal.Journal, drive journal.Drive) (Source, error) {
	switch {
	case drive.Exchanges == 0:
		return nil, &AnewError{Drive: drive.ID}
	case drive.Protocol == obd.ProtocolUnknown:
		return nil, &AnewError{Drive: drive.ID, Exchanges: true}
	}
	setup, err := SetupOf(&drive)
	if err != nil {
		return nil, err
	}
	play := func(do func(journal.Event) error) error {
		r := rereading{do: do, reread: vehicle.NewReread(drive.Protocol, !setup.NoHeaders)}
		r.reread.Counters = setup.Table()
		return r.play(j, drive.ID)
	}
	return &stored{journal: j, drive: drive, play: play}, nil
}

// stored gives a drive of the journal, as fast as it can be read.
type stored struct {
	journal *journal.Journal
	drive   journal.Drive
	play    func(do func(journal.Event) error) error
	at      time.Time
}

func (s *stored) Events(ctx context.Context, take func(Event) error) error {
	var sample obd.Sample
	return s.play(func(e journal.Event) error {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if e.Mark != nil {
			m := *e.Mark
			m.At, m.Until = m.At.Local(), m.Until.Local()
			return take(Event{Mark: &m})
		}
		sample = *e.Sample
		sample.Sent, sample.Received = sample.Sent.Local(), sample.Received.Local() // as a live drive has them
		s.at = sample.Received
		return take(Event{Sample: &sample})
	})
}

func (s *stored) Now() time.Time { return s.at }

func (s *stored) Health() Health {
	d := &s.drive
	return Health{Adapter: d.Adapter, Protocol: d.Protocol.String(), Exchanges: d.Exchanges, PerSecond: unknown()}
}

// rereading decodes the exchanges of a stored drive anew.
type rereading struct {
	reread *vehicle.Reread
	marks  []placedMark
	do     func(journal.Event) error
}

// placedMark is a mark with the time of the sample that came before it: its own may be that of one after it, too.
type placedMark struct {
	journal.Mark
	behind time.Time
}

func (r *rereading) play(j *journal.Journal, drive int64) error {
	if err := r.place(j, drive); err != nil {
		return err
	}
	err := j.Exchanges(drive, r.exchange)
	var gap *journal.GapError
	if errors.As(err, &gap) { // told as a mark, as where samples cannot be read
		err = r.do(journal.Event{Mark: &journal.Mark{Kind: journal.MarkGap, Gap: gap}})
	}
	for i := range r.marks {
		if err == nil {
			err = r.do(journal.Event{Mark: &r.marks[i].Mark})
		}
	}
	return err
}

// place finds the marks of the drive, and which sample each of them came after.
func (r *rereading) place(j *journal.Journal, drive int64) error {
	var last time.Time
	return j.Play(drive, func(e journal.Event) error {
		switch {
		case e.Sample != nil:
			last = e.Sample.Received
		case e.Mark.Kind != journal.MarkGap: // samples that cannot be read are no gap in the exchanges
			r.marks = append(r.marks, placedMark{*e.Mark, last})
		}
		return nil
	})
}

// exchange gives what an exchange told, and before it the marks that were set until then.
func (r *rereading) exchange(e *obd.Exchange) error {
	sample := r.reread.Sample(e)
	if sample == nil {
		return nil
	}
	for len(r.marks) > 0 && r.marks[0].behind.Before(sample.Received) {
		m := r.marks[0].Mark
		r.marks = r.marks[1:]
		if err := r.do(journal.Event{Mark: &m}); err != nil {
			return err
		}
	}
	return r.do(journal.Event{Sample: sample})
}
