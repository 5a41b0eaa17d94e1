package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/views"
)

const playbackAbout = `Show a stored drive as it was seen live, at any speed. It is counted anew by the same rules, so its summary is that of
the drive. 'stumble jobs' lists the jobs, 'stumble jobs show JOB' their drives.

The engine's layout and the map are those of the drive unless others are given. Keys on the screen: space holds the strip,
u the unit, 1-9 bell, ? help, q quit; marks and notes are those of the drive, and none are added.`

// playbackOptions is what playback was asked for.
type playbackOptions struct {
	watchOptions // without a car: where, length and record stay empty
	journal      journalOption
	pace         speed
	from         duration
}

// playback shows a stored drive.
func playback(a *app, args []string) error {
	f := newFlags("playback", playbackAbout, "7 --speed 4 --from 2m")
	var o playbackOptions
	o.flags(f)
	rest, err := f.parse(a, args, 1)
	switch {
	case err != nil:
		return err
	case o.plain && o.asJSON:
		return usagef("--plain and --json exclude each other: choose one")
	case o.engine.wantsList():
		return o.engine.list(a.out)
	case len(rest) == 0:
		return usagef("say which drive by its number; 'stumble jobs' lists the jobs, 'stumble jobs show JOB' their drives")
	}
	id, err := numberOf("drive", rest[0])
	if err != nil {
		return err
	}
	lines := o.plain || o.asJSON
	switch {
	case !lines && o.pace.most:
		return usagef("the screen cannot show a drive at max; give a number, or --plain")
	case !lines:
		if err := a.terminal.Check(); err != nil {
			return err
		}
	case !o.pace.wasSaid:
		o.pace.most = true
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		p, err := a.player(j, id, &o)
		if err != nil {
			return err
		}
		p.hold = !lines
		return a.show(p.drive, &o.watchOptions)
	})
}

func (o *playbackOptions) flags(f *flagSet) {
	o.journal.flags(f)
	o.engine.flags(f)
	f.Var(&o.pace, "speed", "how fast: a `NUMBER` of times (1), or max, which is what --plain and --json do when nothing is said")
	f.Var(&o.from, "from", "begin at this `TIME` of the drive, such as 2m; what was before is counted, but not shown")
	f.BoolVar(&o.plain, "plain", false, "print lines instead of the screen")
	f.BoolVar(&o.asJSON, "json", false, "print JSON: a line a second and a summary at the end")
}

// player plays a stored drive: it stands in for the car, the adapter and the clock of a live one.
type player struct {
	*drive
	journal *journal.Journal
	stored  journal.Drive
	clock   clock.Clock // real time
	speed   speed
	hold    bool // the last of it stays on the screen until the user leaves

	at        time.Time // of the newest sample, the drive's time
	exchanges int
	pace      pace
	over      bool
	began     struct{ real, car time.Time } // when the first sample was shown; zero before
}

// player makes ready to play a drive.
func (a *app) player(j *journal.Journal, id int64, o *playbackOptions) (*player, error) {
	stored, err := j.Drive(id)
	switch {
	case err != nil:
		return nil, err
	case stored.Samples == 0:
		return nil, fmt.Errorf("drive %d has no samples: there is nothing to play back; 'stumble jobs show %d' lists the drives of its job", id, stored.Job)
	}
	if length := stored.Ended.Sub(stored.Started); o.from.Duration >= length && o.from.Duration > 0 {
		return nil, usagef("drive %d lasts %v: give a --from before its end", id, length.Round(time.Second))
	}
	cfg, err := o.engine.config(o.engine.known(&stored))
	if err == nil {
		err = fitEngine(&cfg, 0)
	}
	if err != nil {
		return nil, err
	}
	p := &player{journal: j, stored: stored, clock: a.clock, speed: o.pace, at: stored.Started}
	setup, err := setupOf(&stored)
	if err != nil {
		return nil, err
	}
	p.drive = &drive{cfg: cfg, tally: misfire.NewTally(cfg), title: setup.Title, vin: setup.VIN, coilEach: setup.CoilEach,
		samples: p.play, now: func() time.Time { return p.at }, health: p.health, stored: true}
	p.tally.SetLimits(stored.Catalyst, stored.Emission)
	if o.from.Duration > 0 {
		p.from = stored.Started.Add(o.from.Duration).Local()
	}
	return p, nil
}

// known is what the drive was counted by, but for what is given anew: another layout makes its map void.
func (o *engineOptions) known(d *journal.Drive) misfire.Config {
	if o.key != "" {
		return misfire.Config{}
	}
	return misfire.Config{Engine: d.Engine, Map: d.Map}
}

// setupOf is what record left in the journal. A drive of another program may have left nothing.
func setupOf(d *journal.Drive) (s driveSetup, err error) {
	s.VIN, s.Title = d.Vehicle.VIN, d.Vehicle.Name
	if len(d.Setup) > 0 {
		if err := json.Unmarshal(d.Setup, &s); err != nil {
			return s, fmt.Errorf("the set-up of drive %d cannot be read: %w", d.ID, err)
		}
	}
	return s, nil
}

func (p *player) health() views.Health {
	state := "playback"
	switch {
	case p.over:
		state = "playback is over, q leaves"
	case p.speed.factor > 0 && p.speed.factor != 1:
		state += ", " + p.speed.String() + " times as fast"
	}
	return views.Health{Adapter: p.stored.Adapter, Protocol: p.stored.Protocol, PerSecond: p.pace.perSecond(), Exchanges: p.exchanges, Recording: state}
}

// play gives the samples of the drive, each at its time, and puts its marks between them. Exchanges are counted as
// they were then.
func (p *player) play(ctx context.Context, take func(*obd.Sample) error) error {
	failed := error(nil)
	next, stop := iter.Pull(p.answered(&failed))
	defer stop()
	heard, more := next()
	err := p.journal.Play(p.stored.ID, func(e journal.Event) error {
		if e.Mark != nil {
			p.putMark(e.Mark)
			return nil
		}
		if err := p.wait(ctx, e.Sample.Received); err != nil {
			return err
		}
		for ; more && !heard.After(e.Sample.Received); heard, more = next() {
			p.count(heard)
		}
		s := *e.Sample
		s.Sent, s.Received = s.Sent.Local(), s.Received.Local() // as a live drive has them
		p.at = s.Received
		return take(&s)
	})
	if err != nil {
		return err
	}
	for ; more; heard, more = next() {
		p.count(heard)
	}
	if failed != nil { // exchanges are only counted here: the numbers do not suffer
		p.tell(p.at, explain(failed))
	}
	if p.over = true; p.hold {
		return p.stay(ctx)
	}
	return nil
}

// stay leaves the end of the drive on the screen.
func (p *player) stay(ctx context.Context) error {
	if err := p.board.show(p.state()); err != nil {
		return err
	}
	<-ctx.Done()
	return context.Cause(ctx)
}

// answered are the times at which exchanges were complete.
func (p *player) answered(failed *error) iter.Seq[time.Time] {
	return func(yield func(time.Time) bool) {
		enough := errors.New("enough")
		err := p.journal.Exchanges(p.stored.ID, func(e *obd.Exchange) error {
			if !yield(e.Received) {
				return enough
			}
			return nil
		})
		if !errors.Is(err, enough) {
			*failed = err
		}
	}
}

func (p *player) count(at time.Time) {
	p.exchanges++
	p.pace.add(at)
}

// wait waits until a sample is due.
func (p *player) wait(ctx context.Context, at time.Time) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if p.speed.most || at.Before(p.from) {
		return nil
	}
	if p.began.real.IsZero() {
		p.began.real, p.began.car = p.clock.Now(), at
	}
	due := p.began.real.Add(time.Duration(float64(at.Sub(p.began.car)) / p.speed.times()))
	if !p.clock.SleepUntil(due, ctx.Done()) {
		return context.Cause(ctx)
	}
	return nil
}

// putMark puts a mark of the stored drive into the one that is shown.
func (p *player) putMark(m *journal.Mark) {
	switch m.Kind {
	case journal.MarkGap:
		p.tell(m.At, "missing here: "+m.Text)
		p.mark(m.At.Local(), gear.Unknown, "missing here: "+m.Text)
	case journal.MarkGear:
		p.mark(m.At.Local(), m.Gear, "")
	default:
		p.mark(m.At.Local(), gear.Unknown, m.Text)
	}
}
