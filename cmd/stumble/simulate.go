package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/obd/clock"
	"stumble/obd/link"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
)

const simulateAbout = `Serve a simulated adapter with a simulated car behind it, for practice and for other programs, until interrupted:

  stumble simulate [SCENARIO] --listen HOST:PORT
  stumble simulate [SCENARIO] --pty

The car starts to drive when the program starts. --list tells the scenarios.`

// simulateOptions is what simulate was asked for.
type simulateOptions struct {
	listen, truth string
	pty, list     bool
	pace          speed
	seed          seed
}

func (o *simulateOptions) flags(f *pflag.FlagSet) {
	f.StringVar(&o.listen, "listen", "", "serve on TCP at `HOST:PORT`")
	f.BoolVar(&o.pty, "pty", false, "serve on a new pseudo serial port (Linux and macOS)")
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
	err := a.serve(t.sim, clk, o.listen)
	if o.truth != "" {
		err = errors.Join(err, writeTruth(o.truth, t.sim, clk))
	}
	return err
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
func (a *app) serve(s *sim.Simulation, clk clock.Clock, address string) error {
	dial := func(ctx context.Context) (link.Link, error) { return s.Dial(ctx) }
	ctx, stop := context.WithCancelCause(a.ctx)
	defer stop(nil)
	if address == "" {
		return sim.ServePTY(ctx, clk, dial, func(path string) {
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
	if _, err := fmt.Fprintf(a.out, "listening on %s; watch it with: stumble watch --port tcp://%s\n", l.Addr(), l.Addr()); err != nil {
		return errors.Join(err, l.Close())
	}
	return sim.Serve(ctx, l, clk, dial)
}

// truthObject is what really happened in a simulated drive.
type truthObject struct {
	Kind      string          `json:"kind"` // "truth"
	Cylinders []truthCylinder `json:"cylinders"`
	Cells     []truthCell     `json:"cells"`
}

type truthCylinder struct {
	Cylinder int    `json:"cylinder"`
	Firings  uint64 `json:"firings"` // that the controller judged
	Misses   uint64 `json:"misses"`
	Counted  uint64 `json:"counted"` // by the controller in this driving cycle
	Shown    uint64 `json:"shown"`   // by its counter, as last refreshed
}

type truthCell struct {
	Gear     string    `json:"gear"`
	Load     int       `json:"load"` // percent
	RPM      int       `json:"rpm"`  // lower edge of a bin of 50
	Warm     bool      `json:"warm"`
	Firings  []uint64  `json:"firings"`  // by cylinder
	Misses   []uint64  `json:"misses"`   // by cylinder
	Expected []float64 `json:"expected"` // by cylinder: the sum of the chances
}

func writeTruth(path string, s *sim.Simulation, clk clock.Clock) error {
	s.Car.State(clk.Now()) // brings the car up to this moment
	t := s.Car.Truth()
	o := truthObject{Kind: "truth"}
	vehicle := s.Car.Vehicle()
	for c := 1; c <= vehicle.Cylinders(); c++ {
		sum := t.Sum(c, nil)
		o.Cylinders = append(o.Cylinders, truthCylinder{Cylinder: c, Firings: sum.Firings, Misses: sum.Misses, Counted: t.Counted(c), Shown: t.Shown(c)})
	}
	for _, cell := range t.Cells {
		o.Cells = append(o.Cells, cellObject(cell))
	}
	file, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("cannot write what happened: %w; choose another file", err)
	}
	return errors.Join(writeJSON(file, o), file.Close())
}

func cellObject(c car.Cell) truthCell {
	o := truthCell{Gear: c.Gear.String(), Load: c.Load, RPM: c.RPM, Warm: c.Warm}
	for _, t := range c.Cylinders {
		o.Firings = append(o.Firings, t.Firings)
		o.Misses = append(o.Misses, t.Misses)
		o.Expected = append(o.Expected, t.Expected)
	}
	return o
}
