package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"sync"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/obd/clock"
	"stumble/obd/sim"
	"stumble/views/wire"
)

const simulateAbout = `Serve a simulated adapter with a simulated car behind it, for practice and for other programs, until interrupted:

  stumble simulate [SCENARIO] --listen HOST:PORT
  stumble simulate [SCENARIO] --pty

The car starts to drive when the program starts; a scenario with +running joined to it has its engine run already. On TCP each
client gets a car of its own, and finds it again when it comes back; --shared has one car, for one client at a time. --list
tells the scenarios.`

// simulateOptions is what simulate was asked for.
type simulateOptions struct {
	listen, truth string
	pty, list     bool
	shared        bool
	pace          speed
	seed          seed
}

func (o *simulateOptions) flags(f *pflag.FlagSet) {
	f.StringVar(&o.listen, "listen", "", "serve on TCP at `HOST:PORT`")
	f.BoolVar(&o.pty, "pty", false, "serve on a new pseudo serial port (Linux and macOS)")
	f.BoolVar(&o.shared, "shared", false, "one car, for one client at a time, as a wireless adapter serves")
	f.BoolVar(&o.list, "list", false, "list the scenarios and end")
	f.StringVar(&o.truth, "truth", "", "when ended, write what really happened to `FILE` as JSON")
	f.Var(&o.pace, "speed", "how many times as fast as real time the car lives: a `NUMBER`")
	f.Var(&o.seed, "seed", "the `NUMBER` that chance starts from")
}

// simulateCommand is the command that serves the simulated adapter and car to other programs.
func simulateCommand(a *app) *cobra.Command {
	var o simulateOptions
	c := &cobra.Command{
		Use:     "simulate [SCENARIO]",
		Short:   "serve the simulated adapter and car on TCP or a serial port",
		Long:    simulateAbout,
		Example: "stumble simulate curlew --listen 127.0.0.1:35000",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return simulate(a, &o, args) },
	}
	o.flags(c.Flags())
	c.ValidArgsFunction = completeScenario
	return c
}

// simulate serves the simulated adapter and car to other programs.
func simulate(a *app, o *simulateOptions, names []string) error {
	if o.list {
		return a.listScenarios()
	}
	switch {
	case o.listen == "" && !o.pty:
		return usagef("say how to serve: --listen HOST:PORT or --pty")
	case o.listen != "" && o.pty:
		return usagef("--listen and --pty exclude each other: choose one")
	case o.pace.most:
		return usagef("a served car lives with its client and cannot run at max: give a number")
	}
	clk := a.clock
	if o.pace.factor > 0 && o.pace.factor != 1 {
		clk = clock.NewScaled(o.pace.factor)
	}
	t := &target{clock: clk}
	name := ""
	if len(names) > 0 {
		name = names[0]
	}
	if err := t.simulate(name, o.seed.number()); err != nil {
		return err
	}
	if o.pace.factor > 0 && o.pace.factor != 1 {
		fmt.Fprintf(a.err, "CAUTION: this car lives %g times as fast as a clock: every rate that a client counts by its own clock is %g times too high or too low\n", o.pace.factor, o.pace.factor)
	}
	f := fleet{first: t.sim, name: name, seed: o.seed.number(), clock: clk, shared: o.shared}
	err := a.serve(&f, o.listen)
	if o.truth != "" {
		err = errors.Join(err, writeTruth(o.truth, f.all(), clk))
	}
	return err
}

// fleet is the cars that are served: the first, and one more for each further client.
type fleet struct {
	first  *sim.Simulation
	name   string
	seed   uint64
	clock  clock.Clock
	shared bool

	mu   sync.Mutex
	more []*sim.Simulation
}

// open sets up the car of a client.
func (f *fleet) open(n int) (sim.Dial, error) {
	if n == 0 {
		return f.first.Dial, nil
	}
	s, err := sim.Open(f.name, f.seed+uint64(n), f.clock)
	if err != nil {
		return nil, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.more = append(f.more, s)
	return s.Dial, nil
}

func (f *fleet) all() []*sim.Simulation {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]*sim.Simulation{f.first}, f.more...)
}

func (a *app) listScenarios() error {
	width := 0
	for _, s := range sim.Scenarios() {
		width = max(width, len(s.Name))
	}
	for _, s := range sim.Scenarios() {
		if _, err := fmt.Fprintf(a.out, "%-*s  %s\n", width, s.Name, s.Summary); err != nil {
			return err
		}
	}
	return nil
}

// serve runs until the context ends.
func (a *app) serve(f *fleet, address string) error {
	ctx, stop := context.WithCancelCause(a.ctx)
	defer stop(nil)
	if address == "" {
		return sim.ServePTY(ctx, f.clock, f.first.Dial, func(path string) {
			_, err := fmt.Fprintf(a.out, "serial port %s; watch it with: stumble watch --port %s\n", path, path)
			if err != nil {
				stop(err) // nobody will find it
			}
		})
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		return fmt.Errorf("cannot serve on %s: %w; choose another address or port", address, err)
	}
	where := reachable(l.Addr())
	if where != l.Addr().String() {
		fmt.Fprintln(a.err, "CAUTION: everybody on this computer's networks can reach this; 127.0.0.1 is for this computer alone")
	}
	if _, err := fmt.Fprintf(a.out, "listening on %s; watch it with: stumble watch --port tcp://%s\n", l.Addr(), where); err != nil {
		return errors.Join(err, l.Close())
	}
	if f.shared {
		return sim.Serve(ctx, l, f.clock, f.first.Dial)
	}
	return (&sim.Fleet{Open: f.open}).Serve(ctx, l)
}

// reachable is where a program on this computer finds what listens at an address: nobody can dial "all addresses".
func reachable(at net.Addr) string {
	tcp, is := at.(*net.TCPAddr)
	if !is || !tcp.IP.IsUnspecified() {
		return at.String()
	}
	return net.JoinHostPort("127.0.0.1", strconv.Itoa(tcp.Port))
}

// writeTruth writes what really happened to each car, a line each.
func writeTruth(path string, cars []*sim.Simulation, clk clock.Clock) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("cannot write what happened: %w; choose another file", err)
	}
	for _, s := range cars {
		s.Car.State(clk.Now()) // brings the car up to this moment
		err = errors.Join(err, wire.WriteLine(file, wire.NewTruth(s.Car)))
	}
	return errors.Join(err, file.Close())
}
