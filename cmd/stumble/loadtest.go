package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/misfire/job"
	"stumble/obd/sim/car"
	"stumble/views"
	"stumble/views/say"
)

const loadtestAbout = `Watch with guided steps: Park, Drive and Reverse at idle, raised idle, steady cruise, pull. Each step says what to do,
tells whether the car is in the condition, and runs long enough for the car's refresh of its counters and for a fault to
show. It ends with a written summary. --plain says each step on a line of its own, for a helper reading aloud.

Keys on the screen: s skip, b again, x stop; p n d r mark the gear, m a note, ? help, q quit. With --plain the same letters, each followed by Enter; any longer text is a note.

--steps names the steps to run, as often as wanted, each with its length if need be: drive:4m,reverse:2m,drive:4m. More than
3 minutes at once in gear on the brake overheat a transmission: a pause in Park is asked for then.

After a repair, --prove JOB runs exactly what the proof of that job still wants, the longest first, and ends with what the
proof comes to.

A car whose counters move only when it is turned off takes --key-off: each step is then run, turned off and read.
With --port sim the simulated driver obeys each step.

` + aboutRecording + `

CAUTION: ignition voltage can kill; keep clear of hot and turning parts; exhaust gas is poison: run the engine outdoors
or with extraction. Before selecting a gear at rest: parking brake, wheels chocked, service brake held, nobody in front or
behind. On the road the driver drives and a second person reads the screen. If the lamp flashes, ease off: raw fuel
overheats the catalyst. The maker's manual and local law come first.`

// mostTest is how long a test lasts at the most in simulated time as fast as it can.
const mostTest = 2 * time.Hour

// loadtestOptions is what loadtest was asked for.
type loadtestOptions struct {
	watchOptions
	order       string
	prove       int64
	keyOff, yes bool
}

func (o *loadtestOptions) flags(f *pflag.FlagSet) {
	o.watchOptions.flags(f)
	f.StringVar(&o.order, "steps", "", "the `STEPS` to run, in order, each with a length if it is to have one: park,drive:4m,reverse:90s,raised,cruise,pull")
	f.Int64Var(&o.prove, "prove", 0, "run what the proof of the `JOB` still wants, and tell what it comes to then")
	f.BoolVar(&o.keyOff, "key-off", false, "the car's counters move only at key-off: read them after each step")
	f.BoolVar(&o.yes, "yes", false, "the cautions have been read")
}

// loadtestCommand is the command that records and shows a guided drive.
func loadtestCommand(a *app) *cobra.Command {
	var o loadtestOptions
	c := &cobra.Command{
		Use:     "loadtest",
		Short:   "watch with guided steps: at rest in each gear, cruise, pull",
		Long:    loadtestAbout,
		Example: "stumble loadtest --port /dev/ttyUSB0 --steps park,drive,reverse",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return loadtest(a, &o) },
	}
	o.flags(c.Flags())
	return c
}

// loadtest records and shows a guided drive.
func loadtest(a *app, o *loadtestOptions) error {
	if err := o.checkProve(); err != nil {
		return err
	}
	plan, err := guide.Parse(o.order)
	if err != nil {
		return usageError{err}
	}
	t, cfg, err := a.prepare(&o.watchOptions, mostTest)
	if err != nil || t == nil {
		return err
	}
	k, err := a.saver(t, &o.record)
	if err != nil {
		return err
	}
	defer k.Close()
	var comparison *job.Comparison
	if o.prove != 0 {
		if comparison, plan, err = a.wanted(o, k); err != nil || plan == nil {
			return err
		}
	}
	input := a.lines()
	if err := a.caution(input, say.English().LoadTestCautions(plan), &o.watchOptions, o.yes); err != nil {
		return err
	}
	if t.sim != nil {
		t.sim.Car.Do(t.clock.Now(), car.KeyOn, 0) // the simulated driver comes with the helper
	}
	d, err := a.startDrive(t, cfg, &o.watchOptions, k)
	if err != nil {
		return err
	}
	defer d.car.Close()
	if err := d.record(a.ctx); err != nil {
		return err
	}
	load := guide.LoadConfig{Steps: plan, KeyOff: o.keyOff}
	if comparison != nil {
		load.Known = guide.KnownFrom(comparison.Before[len(comparison.Before)-1].Summary)
	}
	g := d.steps(load, t)
	g.say = a.saying(d, &o.watchOptions)
	if comparison != nil {
		d.Fill(comparison.Filling(a.filling(g, &o.watchOptions)))
	}
	if o.plain {
		led, stop := a.hearing(d, input)
		defer stop()
		a = led
	}
	if err := a.show(d, &o.watchOptions); err != nil || o.prove == 0 {
		return err
	}
	return a.proved(o, k)
}

// caution shows what must be read before the first step, and has it confirmed where somebody can.
func (a *app) caution(input *bufio.Reader, lines []string, o *watchOptions, read bool) error {
	var out io.Writer = a.out
	if o.asJSON {
		out = a.err
	}
	if o.asJSON && read {
		return nil
	}
	if err := views.WriteCautions(out, lines); err != nil {
		return err
	}
	if read || !interactive(a.in) {
		return nil
	}
	fmt.Fprint(out, "Press Enter when everybody has read this: ")
	return a.awaitEnter(input)
}

// awaitEnter reads one line. The reading cannot be called off, so it is left behind when the user gives up.
func (a *app) awaitEnter(input *bufio.Reader) error {
	entered := make(chan error, 1)
	go func() {
		_, err := input.ReadString('\n')
		entered <- err
	}()
	select {
	case err := <-entered:
		if err != nil {
			return errors.New("the cautions were not confirmed: press Enter, or say --yes")
		}
		return nil
	case <-a.ctx.Done():
		return context.Cause(a.ctx)
	}
}

// interactive reports whether an input or output is a terminal.
func interactive(stream any) bool {
	file, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(file.Fd()))
}

// listen takes the keys of the screen as typed lines, until the input ends.
func (d *drive) listen(input *bufio.Reader, quit func(error)) {
	for {
		line, err := input.ReadString('\n')
		if err == nil || line != "" { // the input's end is no pressed Enter
			d.typed(strings.TrimSpace(line), quit)
		}
		if err != nil {
			return
		}
	}
}

// typed acts on one typed line.
func (d *drive) typed(line string, quit func(error)) {
	switch line {
	case "":
		d.Confirm()
	case "p", "n":
		d.Mark(gear.ParkNeutral)
	case "d":
		d.Mark(gear.Drive)
	case "r":
		d.Mark(gear.Reverse)
	case "s":
		d.Skip()
	case "b":
		d.Repeat()
	case "x":
		d.Stop()
	case "q":
		quit(job.ErrTimeUp)
	default:
		d.Note(line)
	}
}
