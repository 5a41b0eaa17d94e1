package main

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync"
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/vehicle"
	"stumble/views"
)

// drive is one stretch of live data: samples from the car, marks from the user, and the tally of both. It
// serves the screen's keys.
type drive struct {
	session  *session // nil for a stored drive
	poller   *vehicle.Poller
	cfg      misfire.Config
	tally    *misfire.Tally
	heard    *cause.Collector // what the causes want of the drive beside its tally
	ignition cause.Ignition
	title    string
	vin      string
	coilEach bool
	from     time.Time // nothing is shown before; zero: from the beginning
	until    time.Time // zero: until the user ends it

	samples  func(context.Context, func(*obd.Sample) error) error // gives them until the drive is over
	now      func() time.Time                                     // the car's time
	health   func() views.Health
	playback func() *views.Playback // where a stored drive is; nil in a live one
	keys     views.Actions          // what the screen's keys do; nil: what they do in a live drive
	keeper   *keeper                // nil when nothing is to be saved
	stored   bool                   // it is played back: what happened is not to be added to

	board    board
	commands chan func() // from the screen to the drive, which alone touches the tally
	notes    []views.Mark
	notify   func(at time.Time, text string) error // tells of links lost and the like; may be nil
	failed   error                                 // what notify returned
	direct   func(now time.Time)                   // tells the simulated driver what to do; may be nil
	step     *views.Step
	guide    conductor              // leads through a test; nil in a plain drive
	marked   func(views.Mark) error // hears every mark; may be nil
}

// startDrive connects, waiting for the ignition if need be, and makes ready to poll. k, which may be nil, knows engines
// of earlier drives.
func (a *app) startDrive(t *target, cfg misfire.Config, length time.Duration, k *keeper) (*drive, error) {
	var until time.Time
	if length > 0 {
		until = t.clock.Now().Add(length)
	}
	s, err := a.connect(t, true, until)
	if err != nil {
		return nil, err
	}
	d, err := a.newDrive(s, cfg, k)
	if err != nil {
		s.close()
		return nil, err
	}
	if length > 0 {
		d.until = t.clock.Now().Add(length)
	}
	return d, nil
}

func (a *app) newDrive(s *session, cfg misfire.Config, k *keeper) (*drive, error) {
	vin, _, err := vehicle.ReadVIN(a.ctx, s.adapter, s.caps)
	if err != nil {
		return nil, err
	}
	if cfg.Engine.Cylinders == 0 && cfg.Map.Len() == 0 {
		cfg = k.engineOf(vin, cfg, s.caps.Cylinders())
	}
	if err := fitEngine(&cfg, s.caps.Cylinders()); err != nil {
		return nil, err
	}
	d := &drive{session: s, cfg: cfg, title: titleOf(s), vin: vin, commands: make(chan func(), 64)}
	d.ignition = s.ignition()
	d.begin()
	d.tally.SetLimits(s.caps.CatalystLimit, s.caps.EmissionLimit)
	d.poller = vehicle.NewPoller(s.adapter, s.caps, s.target.clock)
	d.samples, d.now, d.health = d.poller.Run, s.target.clock.Now, s.health
	if s.target.sim != nil {
		d.coilEach = len(s.target.sim.Car.Vehicle().Coils) == 0
	}
	s.exchanges, s.pace = 0, pace{} // those of the drive are counted, as they are when it is played back
	d.poller.Asleep = func(at time.Time, asleep bool) { d.befell(at, describeSleep(asleep)) }
	s.noticed = func(n elm.Notice) { d.befell(n.At, describeNotice(n)) }
	return d, nil
}

// begin begins to count the drive.
func (d *drive) begin() {
	d.tally, d.heard = misfire.NewTally(d.cfg), &cause.Collector{}
	d.tally.EachWindow(d.heard.AddWindow)
}

// fitEngine takes the engine from the number of cylinders that the car counts, where the user named none, and
// refuses an engine or a map that the car contradicts. counted is 0 for a car without counts.
func fitEngine(cfg *misfire.Config, counted int) (err error) {
	if cfg.Engine.Cylinders == 0 && counted > 0 {
		if cfg.Engine, err = engine.Plain(counted); err != nil {
			return err
		}
	}
	n := cfg.Engine.Cylinders
	switch {
	case counted > n:
		return usagef("the car counts the misses of %d cylinders, the engine chosen has %d; choose another --engine, or leave it out", counted, n)
	case cfg.Map.Len() > 0 && n > 0 && cfg.Map.Len() != n:
		return usagef("--map names %d cylinders, the engine has %d; name every cylinder once", cfg.Map.Len(), n)
	}
	return nil
}

func (d *drive) tell(at time.Time, text string) {
	if text == "" || d.notify == nil {
		return
	}
	d.failed = errors.Join(d.failed, d.notify(at, text))
}

// befell tells of what happened to the link or the car, and notes it among the marks: who looks at the drive later must
// know why nothing was counted there.
func (d *drive) befell(at time.Time, text string) {
	if text == "" {
		return
	}
	d.tell(at, text)
	d.mark(at, gear.Unknown, text)
}

// run polls until the time is over, ctx ends or nothing more can be had. show is given the state every so
// often in the car's time.
func (d *drive) run(ctx context.Context, every time.Duration, show func(*views.State) error) error {
	var due, last time.Time
	return d.samples(ctx, func(s *obd.Sample) error {
		d.obey()
		if d.direct != nil {
			d.direct(s.Received)
		}
		d.heard.Add(s)
		d.tally.Add(s)
		d.tell(s.Received, d.keeper.sample(s))
		if d.failed != nil {
			return d.failed
		}
		if s.Received.Before(last) { // played back, the user went back
			due = time.Time{}
		}
		last = s.Received
		if !s.Received.Before(due) && !s.Received.Before(d.from) {
			if err := show(d.state()); err != nil {
				return err
			}
			due = next(due, s.Received, every)
		}
		if !d.until.IsZero() && !s.Received.Before(d.until) {
			return errTimeUp
		}
		return nil
	})
}

// next is the first of the moments that lie every apart, beginning with the first sample, after now.
func next(due, now time.Time, every time.Duration) time.Time {
	if due.IsZero() {
		due = now
	}
	return due.Add((now.Sub(due)/every + 1) * every)
}

// runSafely is run for a goroutine of its own: a fault of the program there ends the drive with an error
// instead of the process, so that the terminal is given back and what was counted is printed.
func (d *drive) runSafely(ctx context.Context, every time.Duration, show func(*views.State) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the drive failed: %v\n%s", p, debug.Stack())
		}
	}()
	return d.run(ctx, every, show)
}

// obey carries out what the keys asked for.
func (d *drive) obey() {
	for {
		select {
		case do := <-d.commands:
			do()
		default:
			return
		}
	}
}

// finish ends the drive and returns its last state.
func (d *drive) finish() *views.State {
	d.obey()
	if d.guide != nil {
		d.guide.Stop(d.now())
	}
	d.tally.Finish()
	state := d.state()
	state.Summary = d.tally.Summary()
	if _, cut := d.guide.(*balancing); !cut { // cylinders that were cut have no cause to look for
		state.Causes = d.causes(state.Summary)
	}
	return state
}

// state is everything there is to show, made anew.
func (d *drive) state() *views.State {
	state := &views.State{
		Title:    d.title,
		VIN:      d.vin,
		Summary:  d.tally.Glance(),
		Strip:    d.tally.Strip(nil),
		Step:     d.step,
		Notes:    d.notes[:len(d.notes):len(d.notes)],
		Health:   d.health(),
		CoilEach: d.coilEach,
	}
	if d.playback != nil {
		state.Playback = d.playback()
	}
	d.keeper.show(state)
	if d.guide != nil {
		d.guide.present(state)
	}
	return state
}

// mark notes something at a time of the drive's own clock.
func (d *drive) mark(at time.Time, g gear.State, text string) {
	if g != gear.Unknown {
		d.tally.Mark(at, g)
		text = "gear " + g.String()
	}
	d.keeper.mark(at, g, text)
	m := views.Mark{At: at, Text: text, Gear: g}
	d.notes = append(d.notes, m)
	if d.marked != nil {
		d.failed = errors.Join(d.failed, d.marked(m))
	}
}

// began is when the drive began; zero before its first reading.
func (d *drive) began() time.Time { return d.tally.Glance().Start }

// do hands a command to the drive's goroutine; with the queue full the key is lost rather than the screen.
func (d *drive) do(command func(now time.Time)) {
	if d.stored {
		return
	}
	at := d.now()
	select {
	case d.commands <- func() { command(at) }:
	default:
	}
}

// actions is what the screen's keys do.
func (d *drive) actions() views.Actions {
	if d.keys != nil {
		return d.keys
	}
	return d
}

// Mark, Note and the rest are the screen's keys.
func (d *drive) Mark(g gear.State) {
	d.do(func(at time.Time) { d.mark(at, g, "") })
}

func (d *drive) Note(text string) {
	d.do(func(at time.Time) { d.mark(at, gear.Unknown, text) })
}

// StepSkip, StepRepeat and StepStop are for the guide, where there is one.
func (d *drive) StepSkip()   { d.steer(conductor.Skip) }
func (d *drive) StepRepeat() { d.steer(conductor.Repeat) }
func (d *drive) StepStop()   { d.steer(conductor.Stop) }
func (d *drive) Quit()       {}

func (d *drive) steer(do func(conductor, time.Time)) {
	d.do(func(at time.Time) {
		if d.guide != nil {
			do(d.guide, at)
		}
	})
}

// board is the state that the screen shows, handed over from the drive.
type board struct {
	mu      sync.Mutex
	state   *views.State
	version uint64
}

// State is the newest state, never nil.
func (b *board) State() *views.State {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.state == nil {
		b.state = &views.State{}
	}
	return b.state
}

func (b *board) show(s *views.State) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.version++
	s.Version = b.version
	b.state = s
	return nil
}
