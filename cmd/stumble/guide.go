package main

import (
	"io"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/job"
	"stumble/misfire/practice"
	"stumble/misfire/steps"
	"stumble/views"
	"stumble/views/wire"
)

// conductor is what leads through something while a drive runs, as it is shown: the steps of a test, or one cylinder
// cut after the other.
type conductor interface {
	present(*views.State)                // puts on the screen what the drive itself does not
	write(io.Writer, *views.State) error // what was found, at the end
	object(*views.State) any             // the same
}

// guide leads through the steps of a test.
type guide struct {
	drive  *drive
	runner *steps.Runner
	say    func(steps.Event) error // may be nil: the screen shows it all
	driver *practice.Driver        // nil with a real car
}

// guideEvery is how often, in the car's time, the steps are looked after.
const guideEvery = 500 * time.Millisecond

// steps makes the drive a guided one, which ends with the last step.
func (d *drive) steps(cfg steps.Config, t *target) *guide {
	g := &guide{drive: d}
	g.runner = steps.NewRunner(cfg, g.hear)
	lead := job.Lead{Guide: g.runner, Every: guideEvery}
	if t.sim != nil {
		g.driver = practice.NewDriver(t.sim.Car)
		lead.Practice = g.practise
	}
	d.guide = g
	d.Lead(lead)
	return g
}

// practise marks the gear that the simulated helper sees.
func (g *guide) practise(now time.Time) error {
	if seen := g.driver.Mark(now); seen != gear.Unknown {
		g.drive.MarkAt(now, seen, "")
	}
	return nil
}

func (g *guide) present(s *views.State) { s.Step = views.NewStep(g.runner.Status()) }

// write writes what the drive did, and what the steps showed.
func (g *guide) write(w io.Writer, s *views.State) error {
	if err := views.WriteSummary(w, s.Summary); err != nil {
		return err
	}
	return g.summary(w, s.Summary)
}

// summary writes what the steps showed, after what the drive did.
func (g *guide) summary(w io.Writer, s *misfire.Summary) error {
	return views.WriteSteps(w, s, g.runner.Results(s), g.runner.Notes(s))
}

// object is the same as an object.
func (g *guide) object(s *views.State) any {
	return wire.NewTestSummary(s, g.runner.Results(s.Summary), g.runner.Notes(s.Summary))
}

// ask tells the drive which gear is asked for.
func (g *guide) ask(e steps.Event) {
	switch {
	case e.Kind == steps.Over:
		g.drive.Ask(e.At, gear.Unknown)
	case e.Kind != steps.Begun && e.Kind != steps.Asked && e.Kind != steps.Repeated:
	case e.Ask == steps.AskCondition:
		g.drive.Ask(e.At, e.Step.Gear)
	default:
		g.drive.Ask(e.At, gear.Unknown)
	}
}

// hear notes what the runner tells, says it, and has the simulated driver obey.
func (g *guide) hear(e steps.Event) {
	if text := views.StepMark(e); text != "" {
		g.drive.MarkAt(e.At, gear.Unknown, text)
	}
	g.ask(e)
	if g.say != nil {
		g.drive.Fail(g.say(e))
	}
	if g.driver != nil {
		g.driver.Obey(e)
	}
}
