package main

import (
	"errors"
	"fmt"

	"github.com/spf13/pflag"

	"stumble/misfire/job"
	"stumble/views/say"
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
	b.say = a.saying(d, o)
	input := a.lines()
	if err := a.caution(input, say.English().BalanceCautions(), o, o.balance.yes); err != nil {
		return err
	}
	if b.technician != nil {
		b.technician.Idle(d.Now())
	}
	if o.plain || o.asJSON {
		led, stop := a.hearing(d, input)
		defer stop()
		a = led
	}
	return errors.Join(a.show(d, o), a.saveBalance(b))
}

// saveBalance keeps what was measured in the job, as bench readings and a note, and tells where.
func (a *app) saveBalance(b *balancing) error {
	s, found := b.drive.saver, b.result()
	readings := job.BalanceReadings(found)
	if s == nil || len(readings) == 0 {
		return nil
	}
	number, err := s.Bench(b.drive.Drive, readings, "balance test: "+say.English().Balance(found))
	if err != nil {
		return fmt.Errorf("the balance test is NOT SAVED: %w", err)
	}
	fmt.Fprintf(a.err, "saved in job %d, %s; 'stumble bench --job %d' lists them\n", number, say.Plural(len(readings), "bench reading", "bench readings"), number)
	return nil
}
