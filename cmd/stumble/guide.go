package main

import (
	"errors"
	"io"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/steps"
	"stumble/obd/sim/car"
	"stumble/views"
)

// guide leads through the steps of a test while a drive runs.
type guide struct {
	drive  *drive
	runner *steps.Runner
	say    func(steps.Event) error // may be nil: the screen shows it all
	crew   *crew                   // nil with a real car
	due    time.Time
}

// guideEvery is how often, in the car's time, the steps are looked after.
const guideEvery = 500 * time.Millisecond

// lead makes the drive a guided one, which ends with the last step.
func (d *drive) lead(cfg steps.Config) *guide {
	g := &guide{drive: d}
	g.runner = steps.NewRunner(cfg, g.hear)
	if s := d.session.target.sim; s != nil {
		g.crew = &crew{car: s.Car}
	}
	d.guide, d.direct = g, g.direct
	asleep := d.poller.Asleep
	d.poller.Asleep = func(at time.Time, is bool) {
		asleep(at, is)
		if is {
			g.runner.Asleep(at)
			g.show()
		}
	}
	return g
}

// direct looks after the steps.
func (g *guide) direct(now time.Time) {
	if g.crew != nil {
		if seen := g.crew.mark(now); seen != gear.Unknown {
			g.drive.mark(now, seen, "")
		}
	}
	if now.Before(g.due) {
		return
	}
	g.due = now.Add(guideEvery)
	g.runner.Advance(now, g.drive.tally.Glance())
	g.show()
	if g.runner.Over() {
		g.drive.until = now
	}
}

// Skip, Repeat and Stop are the keys'.
func (g *guide) Skip(at time.Time)   { g.runner.Skip(at) }
func (g *guide) Repeat(at time.Time) { g.runner.Repeat(at) }
func (g *guide) Stop(at time.Time)   { g.runner.Stop(at) }

// present adds nothing: the drive itself shows the step.
func (g *guide) present(*views.State) {}

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
	return views.NewTestSummary(s, g.runner.Results(s.Summary), g.runner.Notes(s.Summary))
}

func (g *guide) show() { g.drive.step = views.NewStep(g.runner.Status()) }

// hear notes what the runner tells, says it, and has the simulated crew obey.
func (g *guide) hear(e steps.Event) {
	if text := views.StepMark(e); text != "" {
		g.drive.mark(e.At, gear.Unknown, text)
	}
	if g.say != nil {
		g.drive.failed = errors.Join(g.drive.failed, g.say(e))
	}
	if g.crew != nil {
		g.crew.obey(e)
	}
}

// crew is the simulated driver, who does what is asked, and his helper, who marks the gear once it is in.
type crew struct {
	car  *car.Car
	ask  steps.Ask
	key  string     // of the step asked for
	gear gear.State // to be marked; Unknown when it is
	from time.Time  // seen in since; zero when it is not yet
}

// leverDelay is how long the helper looks at the lever before he marks it.
const leverDelay = time.Second

// obey carries out an event that asks for something new.
func (c *crew) obey(e steps.Event) {
	if e.Step == nil || e.Ask == c.ask && e.Step.Key == c.key {
		return
	}
	c.ask, c.key = e.Ask, e.Step.Key
	c.gear, c.from = gear.Unknown, time.Time{}
	switch e.Ask {
	case steps.AskCondition:
		if e.Step.Gear != gear.Moving {
			c.gear = e.Step.Gear
		}
		c.car.Do(e.At, maneuver(e.Step), 0)
	case steps.AskStart:
		c.car.Do(e.At, car.Start, 0)
	case steps.AskRest:
		c.car.Do(e.At, car.Cruise, 0)
	case steps.AskCool, steps.AskLast:
		c.car.Do(e.At, car.ParkIdle, 0)
	case steps.AskKeyOff:
		c.car.Do(e.At, car.KeyOff, 0)
	case steps.AskEngineOff, steps.AskKeyOn:
		c.car.Do(e.At, car.KeyOn, 0)
	}
}

// maneuver is what the driver does in a step.
func maneuver(s *steps.Step) car.Maneuver {
	switch s.Key {
	case "drive":
		return car.DriveIdle
	case "reverse":
		return car.ReverseIdle
	case "raised":
		return car.RaisedIdle
	case "cruise":
		return car.Cruise
	case "pull":
		return car.Pull
	}
	return car.ParkIdle
}

// mark is the gear that the helper marks now; Unknown when he marks none.
func (c *crew) mark(now time.Time) gear.State {
	if c.gear == gear.Unknown {
		return gear.Unknown
	}
	state := c.car.State(now)
	switch {
	case lever(state.Gear) != c.gear || !state.Running:
		c.from = time.Time{}
	case c.from.IsZero():
		c.from = now
	case now.Sub(c.from) >= leverDelay:
		seen := c.gear
		c.gear = gear.Unknown
		return seen
	}
	return gear.Unknown
}

// lever is the gear state that the helper sees at rest.
func lever(g car.GearState) gear.State {
	switch g {
	case car.ParkNeutral:
		return gear.ParkNeutral
	case car.DriveAtRest:
		return gear.Drive
	case car.Reverse:
		return gear.Reverse
	}
	return gear.Moving
}
