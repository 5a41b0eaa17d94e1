package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/balance"
	"stumble/misfire/job"
	"stumble/misfire/practice"
	"stumble/views"
	"stumble/views/wire"
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
func (a *app) balanceTest(d *drive, t *target, o *watchOptions) error {
	b, err := d.balances(o.balance.rounds, t)
	if err != nil {
		return err
	}
	b.say = a.sayingBalance(d, o)
	input := bufio.NewReader(a.in)
	if err := a.caution(input, balance.Cautions(), o, o.balance.yes); err != nil {
		return err
	}
	if b.technician != nil {
		b.technician.Idle(d.Now())
	}
	if o.plain || o.asJSON { // what is typed may end the test, as a key of the screen would
		ctx, stop := context.WithCancelCause(a.ctx)
		defer stop(job.ErrTimeUp)
		go d.listen(input, stop)
		led := *a
		led.ctx, a = ctx, &led
	}
	return errors.Join(a.show(d, o), a.saveBalance(b))
}

// sayingBalance is how the events are told: aloud, as objects, or by the screen alone.
func (a *app) sayingBalance(d *drive, o *watchOptions) func(balance.Event) error {
	switch {
	case o.asJSON:
		return func(e balance.Event) error { return wire.WriteLine(a.out, wire.NewBalanceEvent(e, d.Began())) }
	case o.plain:
		return func(e balance.Event) error {
			_, err := fmt.Fprintln(a.out, views.BalanceWords(e))
			return err
		}
	}
	return nil
}

// balancing leads through a balance test.
type balancing struct {
	drive      *drive
	runner     *balance.Runner
	say        func(balance.Event) error // may be nil: the screen shows it all
	technician *practice.Technician      // nil with a real car
}

// balanceEvery is how often, in the car's time, the test is looked after: its countdown is in seconds.
const balanceEvery = 250 * time.Millisecond

var errNoCylinders = usagef("nobody tells how many cylinders there are to cut: say --engine KEY or a number of cylinders")

// balances makes the drive a balance test, which ends with the last cylinder.
func (d *drive) balances(rounds int, t *target) (*balancing, error) {
	n := d.Config.Engine.Cylinders
	if n == 0 {
		return nil, errNoCylinders
	}
	cfg := balance.Config{Rounds: rounds}
	for cylinder := 1; cylinder <= n; cylinder++ {
		cfg.Cylinders = append(cfg.Cylinders, cylinder)
	}
	b := &balancing{drive: d}
	b.runner = balance.NewRunner(cfg, b.hear)
	lead := job.Lead{Guide: b.runner, Every: balanceEvery, Cuts: true}
	if t.sim != nil {
		b.technician = practice.NewTechnician(t.sim.Car, b.runner.Confirm)
		lead.Practice = func(now time.Time) error { return b.technician.Work(now) }
	}
	d.guide = b
	d.Lead(lead)
	return b, nil
}

// hear tells what the runner tells, and has the simulated technician obey.
func (b *balancing) hear(e balance.Event) {
	if b.say != nil {
		b.drive.Fail(b.say(e))
	}
	if b.technician != nil {
		b.technician.Obey(e)
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
func (b *balancing) object(*views.State) any { return wire.NewBalance(b.result()) }

// saveBalance keeps what was measured in the job, as bench readings and a note, and tells where.
func (a *app) saveBalance(b *balancing) error {
	s, found := b.drive.saver, b.result()
	readings := job.BalanceReadings(found)
	if s == nil || len(readings) == 0 {
		return nil
	}
	number, err := s.Bench(b.drive.Drive, readings, "balance test: "+found.Sentence)
	if err != nil {
		return fmt.Errorf("the balance test is NOT SAVED: %w", err)
	}
	fmt.Fprintf(a.err, "saved in job %d, %s; 'stumble bench --job %d' lists them\n", number, views.Things(len(readings), "bench reading"), number)
	return nil
}
