package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/misfire/job"
	"stumble/misfire/practice"
	"stumble/misfire/proof"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/wire"
)

// conductor is what leads through something while a drive runs, as it is shown: the steps of a test, or one cylinder
// cut after the other.
type conductor interface {
	present(*views.State)                // puts on the screen what the drive itself does not
	write(io.Writer, *views.State) error // what was found, at the end
	object(*views.State) any             // the same
}

// How often, in the car's time, a test is looked after. The countdown of a cut is in seconds.
const (
	stepsEvery = 500 * time.Millisecond
	cutsEvery  = 250 * time.Millisecond
)

// stepping is a load test.
type stepping struct {
	*guide.LoadTest
	drive  *drive
	say    func(*guide.Event) error // may be nil: the screen shows it all
	driver *practice.Driver         // nil with a real car
	proof  *proof.Comparison        // that the test is to complete, as it fills; nil where it is to complete none
}

// steps makes the drive a load test, which ends with the last step.
func (d *drive) steps(cfg guide.LoadConfig, t *target) *stepping {
	g := &stepping{drive: d}
	g.LoadTest = guide.NewLoadTest(cfg, g.hear)
	lead := job.Lead{Guide: g.Runner, Every: stepsEvery}
	if t.sim != nil {
		g.driver = practice.NewDriver(t.sim.Car)
		lead.Practice = g.practise
	}
	d.guide = g
	d.Lead(lead)
	return g
}

// practise marks the gear that the simulated helper sees.
func (g *stepping) practise(now time.Time) error {
	if seen := g.driver.Mark(now); seen != gear.Unknown {
		g.drive.MarkAt(now, seen, "")
	}
	return nil
}

func (g *stepping) present(s *views.State) {
	if s.Step = views.NewStep(g.Status()); s.Step != nil && g.proof != nil {
		s.Step.Proof = say.English().Filling(g.proof)
	}
}

// write writes what the drive did, and what the steps showed.
func (g *stepping) write(w io.Writer, s *views.State) error {
	if err := views.WriteSummary(w, s.Summary); err != nil {
		return err
	}
	return g.summary(w, s.Summary)
}

// summary writes what the steps showed, after what the drive did.
func (g *stepping) summary(w io.Writer, s *misfire.Summary) error {
	return views.WriteSteps(w, s, g.Results(s), g.Notes(s))
}

func (g *stepping) object(s *views.State) any {
	return wire.NewTestSummary(s, g.Results(s.Summary), g.Notes(s.Summary))
}

// ask tells the drive which gear is asked for.
func (g *stepping) ask(e guide.Event) {
	switch {
	case e.Kind == guide.Over:
		g.drive.Ask(e.At, gear.Unknown)
	case e.Kind != guide.Begun && e.Kind != guide.Asked && e.Kind != guide.Repeated:
	case e.Ask == guide.AskCondition:
		g.drive.Ask(e.At, e.Step.Gear)
	default:
		g.drive.Ask(e.At, gear.Unknown)
	}
}

// hear notes what the test tells, says it, and has the simulated driver obey.
func (g *stepping) hear(e guide.Event) {
	if text := say.English().EventMark(&e); text != "" {
		g.drive.MarkAt(e.At, gear.Unknown, text)
	}
	g.ask(e)
	if g.say != nil {
		g.drive.Fail(g.say(&e))
	}
	if g.driver != nil {
		g.driver.Obey(e)
	}
}

// balancing is a balance test.
type balancing struct {
	*guide.BalanceTest
	drive      *drive
	say        func(*guide.Event) error // may be nil: the screen shows it all
	technician *practice.Technician     // nil with a real car
}

var errNoCylinders = usagef("nobody tells how many cylinders there are to cut: say --engine KEY or a number of cylinders")

// balances makes the drive a balance test, which ends with the last cylinder.
func (d *drive) balances(rounds int, t *target) (*balancing, error) {
	n := d.Config.Engine.Cylinders
	if n == 0 {
		return nil, errNoCylinders
	}
	cfg := guide.BalanceConfig{Rounds: rounds}
	for cylinder := 1; cylinder <= n; cylinder++ {
		cfg.Cylinders = append(cfg.Cylinders, cylinder)
	}
	b := &balancing{drive: d}
	b.BalanceTest = guide.NewBalanceTest(cfg, b.hear)
	lead := job.Lead{Guide: b.Runner, Every: cutsEvery, Cuts: true}
	if t.sim != nil {
		b.technician = practice.NewTechnician(t.sim.Car, b.Confirm)
		lead.Practice = b.technician.Work
	}
	d.guide = b
	d.Lead(lead)
	return b, nil
}

// hear tells what the test tells, and has the simulated technician obey.
func (b *balancing) hear(e guide.Event) {
	if b.say != nil {
		b.drive.Fail(b.say(&e))
	}
	if b.technician != nil {
		b.technician.Obey(e)
	}
}

// present puts the test on the screen. The misses are the test's own, so the drive's verdict of them is left out.
func (b *balancing) present(state *views.State) {
	status := b.Status()
	state.Step, state.Alert, state.Second = views.NewStep(status), say.English().PlugIn(status), views.CutSecond(status)
	state.Health.Recording = "a test, not recorded"
	state.Headline = "Balance test: the misses below are those of the cylinders that are cut."
	if b.Over() {
		state.Headline = say.English().Balance(b.result())
	}
	if state.Summary == nil {
		return
	}
	s := *state.Summary
	s.Verdict = misfire.Verdict{} // of misses that were made
	state.Summary = &s
}

func (b *balancing) result() *guide.BalanceResult {
	r := b.Result()
	return &r
}

func (b *balancing) write(w io.Writer, _ *views.State) error {
	return views.WriteBalance(w, b.result())
}
func (b *balancing) object(*views.State) any { return wire.NewBalance(b.result()) }

// saying is how the events are told: aloud, as objects, or by the screen alone.
func (a *app) saying(d *drive, o *watchOptions) func(*guide.Event) error {
	switch {
	case o.asJSON:
		return func(e *guide.Event) error { return wire.WriteLine(a.out, wire.NewGuide(e, d.Began())) }
	case o.plain:
		return a.aloud
	}
	return nil
}

// aloud says an event on lines of their own.
func (a *app) aloud(e *guide.Event) error {
	_, err := fmt.Fprintln(a.out, say.English().Event(e))
	return err
}

// hearing returns the program with a context that ends when somebody types so, as a key of the screen would.
func (a *app) hearing(d *drive, input *bufio.Reader) (led *app, stop func()) {
	ctx, quit := context.WithCancelCause(a.ctx)
	go d.listen(input, quit)
	with := *a
	with.ctx = ctx
	return &with, func() { quit(job.ErrTimeUp) }
}
