package main

import (
	"errors"
	"fmt"
	"time"

	"github.com/spf13/pflag"

	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/vehicle"
)

// anewOption asks for what a drive's raw exchanges tell by the rules of today, instead of the samples that were decoded
// from them when it was live: a fault of decoding that was mended since is then mended for old drives too.
type anewOption bool

func (o *anewOption) flags(f *pflag.FlagSet) {
	f.BoolVar((*bool)(o), "anew", false, "decode the drive's raw exchanges anew instead of taking the samples saved with them")
}

// events gives the samples and marks of a stored drive, in order.
func events(j *journal.Journal, stored *journal.Drive, anew anewOption, do func(journal.Event) error) error {
	if !anew {
		return j.Play(stored.ID, do)
	}
	again, err := newRereading(j, stored)
	if err != nil {
		return err
	}
	return again.play(do)
}

// rereading decodes the exchanges of a stored drive anew.
type rereading struct {
	journal *journal.Journal
	drive   int64
	reread  *vehicle.Reread
	marks   []placedMark
	do      func(journal.Event) error
}

// placedMark is a mark with the time of the sample that came before it: its own may be that of one after it, too.
type placedMark struct {
	journal.Mark
	behind time.Time
}

// check says what keeps a drive from being decoded anew, if that was asked for.
func (o anewOption) check(stored *journal.Drive) error {
	switch {
	case !bool(o):
		return nil
	case stored.Exchanges == 0:
		return fmt.Errorf("drive %d holds no raw exchanges to decode anew: leave --anew out", stored.ID)
	case obd.ProtocolNamed(stored.Protocol) == obd.ProtocolUnknown:
		return fmt.Errorf("drive %d does not tell the protocol of its exchanges: leave --anew out", stored.ID)
	}
	return nil
}

func newRereading(j *journal.Journal, stored *journal.Drive) (*rereading, error) {
	setup, err := setupOf(stored)
	if err != nil {
		return nil, err
	}
	r := &rereading{journal: j, drive: stored.ID, reread: vehicle.NewReread(obd.ProtocolNamed(stored.Protocol), !setup.NoHeaders)}
	var last time.Time
	return r, j.Play(stored.ID, func(e journal.Event) error {
		switch {
		case e.Sample != nil:
			last = e.Sample.Received
		case e.Mark.Kind != journal.MarkGap: // samples that cannot be read are no gap in the exchanges
			r.marks = append(r.marks, placedMark{*e.Mark, last})
		}
		return nil
	})
}

func (r *rereading) play(do func(journal.Event) error) error {
	r.do = do
	err := r.journal.Exchanges(r.drive, r.exchange)
	var gap *journal.GapError
	if errors.As(err, &gap) { // said as a mark, as where samples cannot be read
		err = do(journal.Event{Mark: &journal.Mark{Kind: journal.MarkGap, Text: gap.Error()}})
	}
	for i := range r.marks {
		if err == nil {
			err = do(journal.Event{Mark: &r.marks[i].Mark})
		}
	}
	return err
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
