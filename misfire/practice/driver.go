// Package practice is who sits in the simulated car and stands beside it: a driver who does what a guided test asks, a
// helper who marks the gear, and a technician who unplugs injectors. With them a guided test runs by itself.
package practice

import (
	"time"

	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/obd/sim/car"
)

// Driver is the simulated driver, who does what is asked, and his helper, who marks the gear once it is in.
type Driver struct {
	car  *car.Car
	ask  guide.Ask
	key  string     // of the step asked for
	gear gear.State // to be marked; Unknown when it is
	from time.Time  // seen in since; zero when it is not yet
}

// NewDriver returns the driver of a car.
func NewDriver(c *car.Car) *Driver { return &Driver{car: c} }

// leverDelay is how long the helper looks at the lever before he marks it.
const leverDelay = time.Second

// Obey carries out an event that asks for something new.
func (d *Driver) Obey(e guide.Event) {
	if e.Step == nil || e.Ask == d.ask && e.Step.Key == d.key {
		return
	}
	d.ask, d.key = e.Ask, e.Step.Key
	d.gear, d.from = gear.Unknown, time.Time{}
	switch e.Ask {
	case guide.AskCondition:
		if e.Step.Gear != gear.Moving {
			d.gear = e.Step.Gear
		}
		d.car.Do(e.At, maneuver(e.Step), 0)
	case guide.AskStart:
		d.car.Do(e.At, car.Start, 0)
	case guide.AskRest:
		if !e.Step.OnBrake() {
			d.car.Do(e.At, car.Cruise, 0)
			return
		}
		d.gear = gear.ParkNeutral
		d.car.Do(e.At, car.ParkIdle, 0)
	case guide.AskCool, guide.AskLast:
		d.car.Do(e.At, car.ParkIdle, 0)
	case guide.AskKeyOff:
		d.car.Do(e.At, car.KeyOff, 0)
	case guide.AskEngineOff, guide.AskKeyOn:
		d.car.Do(e.At, car.KeyOn, 0)
	}
}

// maneuver is what the driver does in a step.
func maneuver(s *guide.Step) car.Maneuver {
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

// Mark returns the gear that the helper marks now; Unknown when he marks none.
func (d *Driver) Mark(now time.Time) gear.State {
	if d.gear == gear.Unknown {
		return gear.Unknown
	}
	state := d.car.State(now)
	switch {
	case seen(state.Gear) != d.gear || !state.Running:
		d.from = time.Time{}
	case d.from.IsZero():
		d.from = now
	case now.Sub(d.from) >= leverDelay:
		marked := d.gear
		d.gear = gear.Unknown
		return marked
	}
	return gear.Unknown
}

// seen is the gear state that the helper sees at rest.
func seen(g car.GearState) gear.State {
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
