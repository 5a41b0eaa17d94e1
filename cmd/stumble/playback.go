package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/views"
)

const playbackAbout = `Show a stored drive as it was seen live, at any speed. It is counted anew by the same rules, so its summary is that of
the drive. 'stumble jobs' lists the jobs, 'stumble jobs show JOB' their drives.

The engine's layout and the map are those of the drive unless others are given. Keys on the screen: space pauses, left and right
go 10 s back or on, < and > a minute, - and + slower or faster, u the unit, 1-9 bell, ? help, q quit; marks and notes are those of the drive, and none are added.`

// playbackOptions is what playback was asked for.
type playbackOptions struct {
	watchOptions // without a car: where, length and record stay empty
	journal      journalOption
	pace         speed
	from         duration
	anew         anewOption
}

// playbackCommand is the command that shows a stored drive.
func playbackCommand(a *app) *cobra.Command {
	var o playbackOptions
	c := &cobra.Command{
		Use:     "playback DRIVE",
		Short:   "show a stored drive at any speed",
		Long:    playbackAbout,
		Example: "stumble playback 7 --speed 4 --from 2m",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return playback(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// playback shows a stored drive.
func playback(a *app, o *playbackOptions, rest []string) error {
	switch {
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
		p, err := a.player(j, id, o)
		if err != nil {
			return err
		}
		p.hold = !lines
		return a.show(p.drive, &o.watchOptions)
	})
}

func (o *playbackOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	o.engine.flags(f)
	f.Var(&o.pace, "speed", "how fast: a `NUMBER` of times (1), or max, which is what --plain and --json do when nothing is said")
	o.anew.flags(f)
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
	anew    anewOption
	speed   speed
	wheel   *wheel
	hold    bool // the last of it stays on the screen until the user leaves

	at        time.Time // of the newest sample, the drive's time
	shownAt   float64   // how fast since began
	alone     bool      // the samples alone are wanted: exchanges are not counted, which takes longer than the samples
	exchanges int
	pace      pace
	over      bool
	began     struct{ real, car time.Time } // when the first sample was shown since the wheel was turned; zero before
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
	if err := o.anew.check(&stored); err != nil {
		return nil, err
	}
	cfg, err := o.engine.config(o.engine.known(&stored))
	if err == nil {
		err = fitEngine(&cfg, 0)
	}
	if err != nil {
		return nil, err
	}
	p := &player{journal: j, stored: stored, clock: a.clock, anew: o.anew, speed: o.pace, at: stored.Started}
	setup, err := setupOf(&stored)
	if err != nil {
		return nil, err
	}
	p.wheel = newWheel(stored.Started, stored.Ended, o.pace.times())
	p.drive = &drive{cfg: cfg, title: setup.Title, vin: setup.VIN, coilEach: setup.CoilEach, ignition: setup.ignition(),
		samples: p.play, now: func() time.Time { return p.at }, health: p.health, stored: true, playback: p.playback}
	p.keys = p
	p.begin()
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
	return views.Health{Adapter: p.stored.Adapter, Protocol: p.stored.Protocol, PerSecond: p.pace.perSecond(), Exchanges: p.exchanges}
}

// playback is where it is; a drive that goes by as lines is nowhere that anyone could turn it.
func (p *player) playback() *views.Playback { return p.wheel.playback(p.over) }

// Pause, Seek and Pace are the screen's keys.
func (p *player) Pause(on bool)         { p.wheel.Pause(on) }
func (p *player) Seek(by time.Duration) { p.wheel.Seek(by) }
func (p *player) Pace(faster bool)      { p.wheel.Pace(faster) }

// errBack ends a run through the drive that is to begin anew, to go back to an earlier time: the tally can only go on.
var errBack = errors.New("back to an earlier time")

// play gives the samples of the drive, each at its time, as often as the user goes back in it.
func (p *player) play(ctx context.Context, take func(*obd.Sample) error) error {
	for {
		err := p.once(ctx, take)
		if err == nil && p.hold {
			p.over = true
			err = p.stay(ctx)
		}
		if !errors.Is(err, errBack) {
			return err
		}
		p.rewind()
	}
}

// rewind makes everything as it was before the first sample.
func (p *player) rewind() {
	p.begin()
	p.tally.SetLimits(p.stored.Catalyst, p.stored.Emission)
	p.notes, p.exchanges, p.pace, p.over = nil, 0, pace{}, false
	p.at, p.began.real = p.stored.Started, time.Time{}
}

// once gives the samples from the first to the last, and puts the drive's marks between them. Exchanges are counted as
// they were then.
func (p *player) once(ctx context.Context, take func(*obd.Sample) error) error {
	failed := error(nil)
	next, stop := iter.Pull(p.answered(&failed))
	defer stop()
	heard, more := next()
	err := events(p.journal, &p.stored, p.anew, func(e journal.Event) error {
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
	return nil
}

// stay leaves the end of the drive on the screen until the user goes back or leaves.
func (p *player) stay(ctx context.Context) error {
	for {
		w := p.wheel.read(p.at)
		if !w.to.IsZero() && w.to.Before(p.at) {
			p.from = w.to.Local()
			return errBack
		}
		if err := p.board.show(p.state()); err != nil {
			return err
		}
		select {
		case <-w.turned:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// answered are the times at which exchanges were complete.
func (p *player) answered(failed *error) iter.Seq[time.Time] {
	return func(yield func(time.Time) bool) {
		if p.alone {
			return
		}
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

// wait waits until a sample is due, or says that the user went back.
func (p *player) wait(ctx context.Context, at time.Time) error {
	if p.speed.most { // nobody turns the wheel of what goes by as lines
		return context.Cause(ctx)
	}
	for {
		w := p.wheel.read(p.at)
		switch {
		case ctx.Err() != nil:
			return context.Cause(ctx)
		case !w.to.IsZero():
			p.from, p.began.real = w.to.Local(), time.Time{}
			if w.to.Before(p.at) {
				return errBack
			}
		}
		if at.Before(p.from) {
			return nil
		}
		due, err := p.due(w, at)
		if err != nil || p.sleep(ctx, due, w) {
			return err
		}
	}
}

// due is when a sample is to be shown; zero while the playback is paused, which is shown then.
func (p *player) due(w position, at time.Time) (time.Time, error) {
	if w.paused {
		p.began.real = time.Time{}
		return time.Time{}, p.board.show(p.state())
	}
	if p.began.real.IsZero() || w.times != p.shownAt {
		p.began.real, p.began.car, p.shownAt = p.clock.Now(), at, w.times
	}
	return p.began.real.Add(time.Duration(float64(at.Sub(p.began.car)) / w.times)), nil
}

// sleep waits until a time, for ever if it is zero, and reports whether it came; false: the wheel was turned, or ctx
// ended.
func (p *player) sleep(ctx context.Context, due time.Time, w position) bool {
	if !due.IsZero() && !p.clock.Now().Before(due) {
		return true
	}
	if due.IsZero() {
		select {
		case <-w.turned:
		case <-ctx.Done():
		}
		return false
	}
	wake, stop := either(ctx, w.turned)
	defer stop()
	return p.clock.SleepUntil(due, wake)
}

// missingHere begins what is told of what cannot be read any more.
const missingHere = "missing here: "

// putMark puts a mark of the stored drive into the one that is shown.
func (p *player) putMark(m *journal.Mark) {
	switch m.Kind {
	case journal.MarkGap:
		p.tell(m.At, missingHere+m.Text)
		p.mark(m.At.Local(), gear.Unknown, missingHere+m.Text)
	case journal.MarkGear:
		p.mark(m.At.Local(), m.Gear, "")
	default:
		p.mark(m.At.Local(), gear.Unknown, m.Text)
	}
}
