package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/link"
	"stumble/obd/sim"
)

// where is the options that say which adapter to use.
type where struct {
	port  string
	speed speed
	seed  seed
}

func (w *where) flags(f *pflag.FlagSet) {
	f.StringVar(&w.port, "port", "", "the adapter's `WHERE`: a serial device, tcp://HOST:PORT, sim or sim:SCENARIO; without it the serial ports are searched")
	f.Var(&w.speed, "speed", "how fast the simulated car's time runs: a `NUMBER` of times, or max")
	f.Var(&w.seed, "seed", "the `NUMBER` that chance in the simulated car starts from")
}

// target is an adapter that can be dialled, and dialled again, with the clock that its time is told by.
type target struct {
	address  link.Address
	clock    clock.Clock
	sim      *sim.Simulation // nil for a real adapter
	memory   *job.Memory     // of this and other adapters; nil for the simulated car, one VIN of which stands for many cars
	baud     int             // of the serial port, once it is open
	hastened int             // the speed that it was brought to
	fast     int             // speed to ask an adapter on a wire for; 0: none
	most     bool            // simulated time runs as fast as it can
	dial     func(ctx context.Context) (elm.Link, error)
}

// target works out what the options mean; nothing is opened yet, but for the simulated car.
func (a *app) target(w *where) (*target, error) {
	address, err := link.ParseAddress(w.port)
	if err != nil {
		return nil, usageError{err}
	}
	t := &target{address: address, clock: a.clock}
	if address.Kind != link.Simulated {
		if w.speed.wasSaid {
			return nil, usagef("--speed is for the simulated car: real time cannot be hurried; leave it out, or use --port sim")
		}
		if w.seed.wasSaid {
			return nil, usagef("--seed is for the simulated car: a real one has chances of its own; leave it out, or use --port sim")
		}
		t.dial = a.realDial(t)
		return t, nil
	}
	switch {
	case w.speed.most:
		t.clock, t.most = clock.NewStepped(a.clock.Now()), true
	case w.speed.factor > 0 && w.speed.factor != 1:
		t.clock = clock.NewScaledAt(a.clock.Now(), w.speed.factor)
	}
	return t, t.simulate(address.Scenario, w.seed.number())
}

// simulate plugs the target into a simulated car.
func (t *target) simulate(scenario string, seed uint64) error {
	if scenario == "" {
		scenario = sim.Scenarios()[0].Name
	}
	s, err := sim.Open(scenario, seed, t.clock)
	if err != nil { // it lists all there is, which is more than a line holds
		return usagef("there is no scenario %q; 'stumble simulate --list' tells them all", scenario)
	}
	t.sim = s
	t.dial = func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }
	return nil
}

// recall has what a journal remembers tried first; j may be nil.
func (t *target) recall(j *journal.Journal) {
	if t.sim == nil && j != nil {
		t.memory = &job.Memory{Journal: j, Place: func() string { return t.address.String() }, Now: t.clock.Now}
	}
}

// realDial opens the adapter where the address says. A serial port's speed, and a port that had to be
// searched for, are remembered for the next time; the port that was used last is tried before the others.
func (a *app) realDial(t *target) func(context.Context) (elm.Link, error) {
	baud, lastTried := 0, false
	return func(ctx context.Context) (elm.Link, error) {
		if t.address.Kind == link.Search && !lastTried {
			lastTried = true
			if l, err := a.lastPlace(ctx, t, &baud); l != nil || ctx.Err() != nil {
				return l, err
			}
		}
		switch {
		case t.address.Kind == link.Network:
			return link.TCP(ctx, t.address.Host, t.clock)
		case baud > 0 && t.fast == 0: // one that was hastened may have kept that, or lost it with its supply
			return link.Serial(t.address.Path, baud, t.clock)
		case t.address.Kind == link.SerialPort:
			l, found, err := t.findBaud(ctx, t.address.Path)
			baud = found
			return l, err
		}
		l, path, found, err := a.search(ctx, t.clock)
		if err != nil {
			return nil, err
		}
		t.address, baud, t.baud = link.Address{Kind: link.SerialPort, Path: path}, found, found
		return l, nil
	}
}

// lastPlace opens the adapter where it was reached last; no link where that is not known or it is not there.
func (a *app) lastPlace(ctx context.Context, t *target, baud *int) (elm.Link, error) {
	last, err := link.ParseAddress(t.memory.LastPlace())
	if err != nil {
		return nil, nil
	}
	switch last.Kind {
	case link.Network:
		fmt.Fprintf(a.err, "trying %s, as last time\n", last)
		l, err := link.TCP(ctx, last.Host, t.clock)
		if err != nil {
			return nil, nil
		}
		t.address = last
		return l, nil
	case link.SerialPort:
		ports, err := link.Ports()
		if err != nil || !slices.ContainsFunc(ports, func(p link.Port) bool { return p.Path == last.Path }) {
			return nil, nil
		}
		fmt.Fprintf(a.err, "trying %s, as last time\n", last)
		l, found, err := t.findBaud(ctx, last.Path)
		if err != nil {
			return nil, nil
		}
		t.address, *baud = last, found
		return l, nil
	}
	return nil, nil
}

// findBaud opens a serial port at the speed at which an adapter answers: first that which it had the last time.
func (t *target) findBaud(ctx context.Context, path string) (link.Link, int, error) {
	first := t.memory.Adapter(path).Baud
	if t.hastened > 0 {
		first = t.hastened
	}
	l, baud, err := findBaud(ctx, path, first, t.clock)
	if err == nil {
		t.baud = baud
	}
	return l, baud, err
}

// findBaud opens a serial port at the speed at which an adapter answers.
func findBaud(ctx context.Context, path string, first int, clk clock.Clock) (link.Link, int, error) {
	return link.FindBaud(ctx, path, first, clk, func(ctx context.Context, l link.Link) error {
		return elm.Identify(ctx, elm.Config{Clock: clk}, l)
	})
}

// search tries one serial port after another until an adapter answers.
func (a *app) search(ctx context.Context, clk clock.Clock) (link.Link, string, int, error) {
	list, err := link.Ports()
	if err != nil {
		return nil, "", 0, err
	}
	if len(list) == 0 {
		return nil, "", 0, errors.New("no serial port found; plug the adapter in, or say where it is with --port (tcp://HOST:PORT for a wireless one, sim for the simulated car)")
	}
	var tried []string
	for _, p := range list {
		fmt.Fprintf(a.err, "trying %s\n", p.Path)
		l, baud, err := findBaud(ctx, p.Path, 0, clk)
		if err == nil {
			return l, p.Path, baud, nil
		}
		if ctx.Err() != nil {
			return nil, "", 0, context.Cause(ctx)
		}
		tried = append(tried, p.Path)
	}
	return nil, "", 0, fmt.Errorf("no adapter answers on %s; 'stumble ports' tells why", strings.Join(tried, ", "))
}
