package job

import (
	"context"
	"errors"
	"iter"
	"sync"
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/obd"
)

// Clock is the time that a playback keeps to.
type Clock interface {
	Now() time.Time
	// SleepUntil returns true once it is t, or false as soon as wake is ready.
	SleepUntil(t time.Time, wake <-chan struct{}) bool
}

// Pace is how a stored drive is played back.
type Pace struct {
	Clock Clock         // nil: as fast as it can be read, and nothing stops it
	Times float64       // how many times as fast as it was
	From  time.Duration // since its beginning; what was before is counted, and not shown
	Hold  bool          // the last of it stays until ctx ends
}

// Playback plays a stored drive: it stands in for the car, the adapter and the clock of a live one. Its keys, Pause,
// Seek and Pace, may be pressed from any goroutine.
type Playback struct {
	stored    *stored
	pace      Pace
	controls  *controls
	from      time.Time // nothing is shown before; zero: from the beginning
	exchanges int
	traffic   traffic
	over      bool
	began     struct{ real, car time.Time } // when the first sample was shown since a key was pressed; zero before
	shownAt   float64                       // how fast since began
}

func newPlayback(s *stored, p Pace) *Playback {
	b := &Playback{stored: s, pace: p, controls: newControls(s.drive.Started, s.drive.Ended, p.Times)}
	if p.From > 0 {
		b.from = s.drive.Started.Add(p.From).Local()
	}
	s.at = s.drive.Started
	return b
}

// Now returns the time of the newest sample.
func (p *Playback) Now() time.Time { return p.stored.at }

// Health returns how the adapter was doing.
func (p *Playback) Health() Health {
	d := &p.stored.drive
	return Health{Adapter: d.Adapter, Protocol: d.Protocol.String(), Exchanges: p.exchanges, PerSecond: p.traffic.perSecond()}
}

// Position is where a playback is.
type Position struct {
	At, Length time.Duration // since the beginning of the drive, and its length
	Paused     bool
	Over       bool    // the end is reached
	Times      float64 // how many times as fast as it was
}

// Position returns where it is.
func (p *Playback) Position() *Position { return p.controls.position(p.over) }

// Pause stops the playback, or lets it go on.
func (p *Playback) Pause(on bool) { p.controls.pause(on) }

// Seek goes on or back from where it is; past the ends it stops there.
func (p *Playback) Seek(by time.Duration) { p.controls.seek(by) }

// Pace doubles or halves the pace.
func (p *Playback) Pace(faster bool) { p.controls.pace(faster) }

// errBack ends a run through the drive that is to begin anew, to go back to an earlier time: the tally can only go on.
var errBack = errors.New("back to an earlier time")

// Events gives the drive, each sample at its time, as often as somebody goes back in it.
func (p *Playback) Events(ctx context.Context, take func(Event) error) error {
	for {
		err := p.once(ctx, take)
		if err == nil && p.pace.Hold {
			p.over = true
			err = p.stay(ctx, take)
		}
		if !errors.Is(err, errBack) {
			return err
		}
		p.exchanges, p.traffic, p.over = 0, traffic{}, false
		p.stored.at, p.began.real = p.stored.drive.Started, time.Time{}
		if err := take(Event{Again: true}); err != nil {
			return err
		}
	}
}

// once gives the drive from the first to the last. Exchanges are counted as they were then.
func (p *Playback) once(ctx context.Context, take func(Event) error) error {
	failed := error(nil)
	next, stop := iter.Pull(p.answered(&failed))
	defer stop()
	heard, more := next()
	now := p.stored.at // the stored drive is ahead by the sample that is waited with
	err := p.stored.Events(ctx, func(e Event) error {
		if e.Sample == nil {
			return take(e)
		}
		at := e.Sample.Received
		p.stored.at = now
		if err := p.wait(ctx, at, take); err != nil {
			return err
		}
		for ; more && !heard.After(at); heard, more = next() {
			p.count(heard)
		}
		p.stored.at, now = at, at
		e.Quiet = at.Before(p.from)
		return take(e)
	})
	if err != nil {
		return err
	}
	for ; more; heard, more = next() {
		p.count(heard)
	}
	if failed != nil { // exchanges are only counted here: the numbers do not suffer
		return take(Event{Notice: &Notice{Kind: ExchangesUnread, At: p.stored.at, Err: failed}})
	}
	return nil
}

// stay leaves the end of the drive to be looked at until the user goes back or leaves.
func (p *Playback) stay(ctx context.Context, take func(Event) error) error {
	for {
		c := p.controls.read(p.stored.at)
		if !c.to.IsZero() && c.to.Before(p.stored.at) {
			p.from = c.to.Local()
			return errBack
		}
		if err := take(Event{}); err != nil {
			return err
		}
		select {
		case <-c.pressed:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// answered are the times at which exchanges were complete.
func (p *Playback) answered(failed *error) iter.Seq[time.Time] {
	return func(yield func(time.Time) bool) {
		enough := errors.New("enough")
		err := p.stored.journal.Exchanges(p.stored.drive.ID, func(e *obd.Exchange) error {
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

func (p *Playback) count(at time.Time) {
	p.exchanges++
	p.traffic.add(at)
}

// wait waits until a sample is due, or says that the user went back.
func (p *Playback) wait(ctx context.Context, at time.Time, take func(Event) error) error {
	if p.pace.Clock == nil { // nobody presses a key for what goes by as lines
		return nil
	}
	for {
		c := p.controls.read(p.stored.at)
		switch {
		case ctx.Err() != nil:
			return context.Cause(ctx)
		case !c.to.IsZero():
			p.from, p.began.real = c.to.Local(), time.Time{}
			if c.to.Before(p.stored.at) {
				return errBack
			}
		}
		if at.Before(p.from) {
			return nil
		}
		due, err := p.due(c, at, take)
		if err != nil || p.sleep(ctx, due, c) {
			return err
		}
	}
}

// due is when a sample is to be shown; zero while the playback is paused, which is shown then.
func (p *Playback) due(c pressed, at time.Time, take func(Event) error) (time.Time, error) {
	if c.paused {
		p.began.real = time.Time{}
		return time.Time{}, take(Event{})
	}
	if p.began.real.IsZero() || c.times != p.shownAt {
		p.began.real, p.began.car, p.shownAt = p.pace.Clock.Now(), at, c.times
	}
	return p.began.real.Add(time.Duration(float64(at.Sub(p.began.car)) / c.times)), nil
}

// sleep waits until a time, for ever if it is zero, and reports whether it came; false: a key was pressed, or ctx
// ended.
func (p *Playback) sleep(ctx context.Context, due time.Time, c pressed) bool {
	if !due.IsZero() && !p.pace.Clock.Now().Before(due) {
		return true
	}
	if due.IsZero() {
		select {
		case <-c.pressed:
		case <-ctx.Done():
		}
		return false
	}
	wake, stop := either(ctx, c.pressed)
	defer stop()
	return p.pace.Clock.SleepUntil(due, wake)
}

// either is ready when one of two is. It is to be stopped.
func either(ctx context.Context, pressed <-chan struct{}) (ready <-chan struct{}, stop func()) {
	merged, cancel := context.WithCancel(ctx)
	go func() {
		select {
		case <-pressed:
			cancel()
		case <-merged.Done():
		}
	}()
	return merged.Done(), cancel
}

// controls is what the keys of a playback set: they are pressed in one goroutine and obeyed in another.
type controls struct {
	mu      sync.Mutex
	paused  bool
	times   float64       // how many times as fast as it was
	at      time.Time     // how far the playback is, or is to go
	sought  bool          // at is to be gone to
	first   time.Time     // the beginning of the drive
	last    time.Time     // its end
	pressed chan struct{} // closed when any of the above was changed
}

// The slowest and the fastest that the keys set.
const slowest, fastest = 0.125, 64

func newControls(first, last time.Time, times float64) *controls {
	return &controls{times: times, at: first, first: first, last: last, pressed: make(chan struct{})}
}

// set changes something under the lock and wakes the playback.
func (c *controls) set(change func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	change()
	close(c.pressed)
	c.pressed = make(chan struct{})
}

func (c *controls) pause(on bool) { c.set(func() { c.paused = on }) }

func (c *controls) seek(by time.Duration) {
	c.set(func() {
		c.at, c.sought = c.at.Add(by), true
		if c.at.Before(c.first) {
			c.at = c.first
		} else if c.at.After(c.last) {
			c.at = c.last
		}
	})
}

func (c *controls) pace(faster bool) {
	c.set(func() {
		if faster {
			c.times = max(c.times, min(2*c.times, fastest)) // what was asked for first may be faster
		} else {
			c.times = min(c.times, max(c.times/2, slowest))
		}
	})
}

// pressed is how the controls stand.
type pressed struct {
	paused  bool
	times   float64
	to      time.Time       // where to go; zero: nowhere else
	pressed <-chan struct{} // closed when a further key is pressed
}

// read tells how the controls stand once the playback has come to at, and takes the seeking off them.
func (c *controls) read(at time.Time) pressed {
	c.mu.Lock()
	defer c.mu.Unlock()
	p := pressed{paused: c.paused, times: c.times, pressed: c.pressed}
	if c.sought {
		p.to, c.sought = c.at, false
	} else if at.After(c.at) { // until then it is on its way
		c.at = at
	}
	return p
}

func (c *controls) position(over bool) *Position {
	c.mu.Lock()
	defer c.mu.Unlock()
	return &Position{At: c.at.Sub(c.first), Length: c.last.Sub(c.first), Paused: c.paused, Times: c.times, Over: over}
}

// Play makes ready to play a stored drive back, counted as opts say.
func Play(j *journal.Journal, id int64, opts Options, p Pace) (*Drive, *Playback, error) {
	stored, setup, cfg, err := opts.open(j, id)
	if err != nil {
		return nil, nil, err
	}
	back := newPlayback(stored, p)
	of := stored.drive
	d := newDrive(back, setup, cfg, of.Catalyst, of.Emission)
	d.rank = func(*misfire.Summary) (*cause.Result, error) { // the whole drive, however much of it was played
		c, err := Open(j, of.Job, opts)
		if err != nil {
			return nil, err
		}
		return c.rankNow()
	}
	return d, back, nil
}
