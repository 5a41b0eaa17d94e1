package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/balance"
	"stumble/misfire/bench"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/sim/car"
	"stumble/views"
)

// balanceOptions is what a balance test was asked for.
type balanceOptions struct {
	on, yes bool
	rounds  int
}

func (o *balanceOptions) flags(f *pflag.FlagSet) {
	f.BoolVar(&o.on, "balance", false, "balance test: unplug one injector after the other, and compare how far the idle falls")
	f.IntVar(&o.rounds, "rounds", 0, "in a balance test, cut a cylinder that is in doubt up to this `NUMBER` of times; 3 without it")
	f.BoolVar(&o.yes, "yes", false, "in a balance test, the cautions have been read")
}

// mostRounds is the most that --rounds may ask for: the catalyst is heated each time.
const mostRounds = 9

// check finds options that mean nothing.
func (o *balanceOptions) check() error {
	switch {
	case !o.on && (o.rounds != 0 || o.yes):
		return usagef("--rounds and --yes are for --balance: add it, or leave them out")
	case o.rounds < 0 || o.rounds > mostRounds:
		return usagef("--rounds %d cannot be: give 1 to %d", o.rounds, mostRounds)
	}
	return nil
}

// balanceTest leads through a balance test. Its drive is not recorded: the misses of the cylinders that are cut would
// spoil every rate of the job. What it measures is kept as bench readings.
func (a *app) balanceTest(d *drive, k *keeper, o *watchOptions) error {
	b, err := d.balance(k, o.balance.rounds)
	if err != nil {
		return err
	}
	b.say = a.sayingBalance(d, o)
	input := bufio.NewReader(a.in)
	if err := a.caution(input, balance.Cautions(), o, o.balance.yes); err != nil {
		return err
	}
	if b.hands != nil {
		b.hands.car.Do(d.now(), car.ParkIdle, 0)
	}
	if o.plain || o.asJSON { // what is typed may end the test, as a key of the screen would
		ctx, stop := context.WithCancelCause(a.ctx)
		defer stop(errTimeUp)
		go d.listen(input, stop)
		led := *a
		led.ctx, a = ctx, &led
	}
	return errors.Join(a.show(d, o), b.save())
}

// sayingBalance is how the events are told: aloud, as objects, or by the screen alone.
func (a *app) sayingBalance(d *drive, o *watchOptions) func(balance.Event) error {
	switch {
	case o.asJSON:
		return func(e balance.Event) error { return views.WriteLine(a.out, views.NewBalanceEvent(e, d.began())) }
	case o.plain:
		return func(e balance.Event) error {
			_, err := fmt.Fprintln(a.out, views.BalanceWords(e))
			return err
		}
	}
	return nil
}

// balancing leads through a balance test while a drive runs.
type balancing struct {
	drive  *drive
	keeper *keeper
	runner *balance.Runner
	say    func(balance.Event) error // may be nil: the screen shows it all
	hands  *hands                    // nil with a real car
	due    time.Time
}

// balanceEvery is how often, in the car's time, the test is looked after: its countdown is in seconds.
const balanceEvery = 250 * time.Millisecond

var errNoCylinders = usagef("nobody tells how many cylinders there are to cut: say --engine KEY or a number of cylinders")

// balance makes the drive a balance test, which ends with the last cylinder.
func (d *drive) balance(k *keeper, rounds int) (*balancing, error) {
	n := d.cfg.Engine.Cylinders
	if n == 0 {
		return nil, errNoCylinders
	}
	cfg := balance.Config{Rounds: rounds}
	for cylinder := 1; cylinder <= n; cylinder++ {
		cfg.Cylinders = append(cfg.Cylinders, cylinder)
	}
	b := &balancing{drive: d, keeper: k}
	b.runner = balance.NewRunner(cfg, b.hear)
	if s := d.session.target.sim; s != nil {
		b.hands = &hands{car: s.Car, confirm: b.runner.Confirm}
	}
	samples := d.samples
	d.samples = func(ctx context.Context, take func(*obd.Sample) error) error {
		return samples(ctx, func(s *obd.Sample) error {
			b.runner.Add(s)
			return take(s)
		})
	}
	d.guide, d.direct = b, b.direct
	b.mind()
	return b, nil
}

// mind has a cylinder plugged in when the car or the adapter goes away while it is off.
func (b *balancing) mind() {
	s, p := b.drive.session, b.drive.poller
	noticed, asleep := s.noticed, p.Asleep
	s.noticed = func(n elm.Notice) {
		noticed(n)
		if n.Kind == elm.LinkLost {
			b.runner.Lost(n.At)
		}
	}
	p.Asleep = func(at time.Time, is bool) {
		asleep(at, is)
		if is {
			b.runner.Lost(at)
		}
	}
}

// direct looks after the test.
func (b *balancing) direct(now time.Time) {
	if b.hands != nil {
		b.drive.failed = errors.Join(b.drive.failed, b.hands.work(now))
	}
	if now.Before(b.due) {
		return
	}
	b.due = now.Add(balanceEvery)
	b.runner.Advance(now, b.drive.tally.Glance())
	if b.runner.Over() {
		b.drive.until = now
	}
}

// hear tells what the runner tells, and has the simulated hands obey.
func (b *balancing) hear(e balance.Event) {
	if b.say != nil {
		b.drive.failed = errors.Join(b.drive.failed, b.say(e))
	}
	if b.hands != nil {
		b.hands.obey(e)
	}
}

// present puts the test on the screen. The misses are the test's own, so the drive's verdict of them is left out.
func (b *balancing) present(state *views.State) {
	status := b.runner.Status()
	state.Step, state.Alert, state.Second = views.NewBalanceStep(status), views.BalanceAlert(status), views.BalanceSecond(status)
	state.Health.Recording = "a test, not recorded"
	state.Headline = "Balance test: the misses below are those of the cylinders that are cut."
	if b.runner.Over() {
		state.Headline = b.result().Sentence
	}
	if state.Summary == nil {
		return
	}
	s := *state.Summary
	s.Verdict = misfire.Verdict{} // of misses that were made
	state.Summary = &s
}

func (b *balancing) result() *balance.Result {
	r := b.runner.Result()
	return &r
}

func (b *balancing) write(w io.Writer, _ *views.State) error {
	return views.WriteBalance(w, b.result())
}
func (b *balancing) object(*views.State) any { return views.NewBalance(b.result()) }

// Skip, Repeat, Stop and Confirm are the keys'.
func (b *balancing) Skip(at time.Time)    { b.runner.Skip(at) }
func (b *balancing) Repeat(at time.Time)  { b.runner.Repeat(at) }
func (b *balancing) Stop(at time.Time)    { b.runner.Stop(at) }
func (b *balancing) Confirm(at time.Time) { b.runner.Confirm(at) }

// save keeps what was measured in the job, as bench readings and a note.
func (b *balancing) save() error {
	k, found := b.keeper, b.result()
	readings := balanceReadings(found)
	switch {
	case k == nil || len(readings) == 0:
		return nil
	case k.why != nil:
		return fmt.Errorf("the balance test is NOT SAVED: %w", k.why)
	}
	at := b.drive.now()
	v := k.vehicle(b.drive.vin, b.drive.title)
	v.Layout, v.Map = b.drive.layoutTold()
	job, err := k.place(v, at)
	if err == nil {
		err = addReadings(k.journal, job.ID, at, readings)
	}
	if err == nil {
		err = k.journal.AddNote(job.ID, journal.Note{At: at, Text: "balance test: " + found.Sentence})
	}
	if err != nil {
		return fmt.Errorf("the balance test is NOT SAVED: %w", err)
	}
	fmt.Fprintf(k.app.err, "saved in job %d, %s; 'stumble bench --job %d' lists them\n", job.ID, counted(len(readings), "bench reading"), job.ID)
	return nil
}

// balanceReadings are the falls as bench readings.
func balanceReadings(found *balance.Result) (readings []bench.Reading) {
	for i := range found.Cylinders {
		c := &found.Cylinders[i]
		if c.Cuts == 0 {
			continue
		}
		r := bench.Reading{Part: bench.Balance, Quantity: bench.Drop, Unit: "rpm", Cylinder: c.Cylinder, Value: tenths(c.Drop)}
		if margin := c.Margin(); !math.IsInf(margin, 0) {
			r.Margin = tenths(margin)
		}
		readings = append(readings, r)
	}
	return readings
}

func tenths(v float64) float64 { return math.Round(v*10) / 10 }

// hands are those of the simulated technician: they unplug and plug in what is asked for, and press Enter.
type hands struct {
	car     *car.Car
	confirm func(time.Time)
	due     time.Time
	do      func(at time.Time) error // what they are about to do; nil: nothing
}

// How long the hands take to find the connector, and from there to the key.
const (
	toConnector = 1200 * time.Millisecond
	toKey       = 600 * time.Millisecond
)

// obey carries out an event that asks for something.
func (h *hands) obey(e balance.Event) {
	if e.Kind != balance.Asked {
		return
	}
	switch e.Ask {
	case balance.AskUnplug:
		h.reach(e.At, func(at time.Time) error { return h.car.Unplug(at, e.Cylinder) })
	case balance.AskPlugIn:
		h.reach(e.At, func(at time.Time) error { return h.car.PlugIn(at, e.Cylinder) })
	}
}

// reach does something at the connector, then presses Enter.
func (h *hands) reach(at time.Time, do func(time.Time) error) {
	h.due = at.Add(toConnector)
	h.do = func(at time.Time) error {
		h.due = at.Add(toKey)
		h.do = func(at time.Time) error {
			h.do = nil
			h.confirm(at)
			return nil
		}
		return do(at)
	}
}

// work moves the hands.
func (h *hands) work(now time.Time) error {
	if h.do == nil || now.Before(h.due) {
		return nil
	}
	return h.do(now)
}

// conductor leads through something while a drive runs: the steps of a test, or one cylinder cut after the other.
type conductor interface {
	Skip(at time.Time)
	Repeat(at time.Time)
	Stop(at time.Time)
	present(*views.State)                // puts on the screen what the drive itself does not
	write(io.Writer, *views.State) error // what was found, at the end
	object(*views.State) any             // the same
}

// Confirm is for a conductor that asks to be told that something has been done.
func (d *drive) Confirm() {
	d.do(func(at time.Time) {
		if c, ok := d.guide.(interface{ Confirm(time.Time) }); ok {
			c.Confirm(at)
		}
	})
}
