package practice

import (
	"time"

	"stumble/misfire/guide"
	"stumble/obd/sim/car"
)

// Technician is the simulated technician, who unplugs and plugs in what is asked for, and presses Enter.
type Technician struct {
	car     *car.Car
	confirm func(time.Time)
	due     time.Time
	do      func(at time.Time) error // what he is about to do; nil: nothing
}

// NewTechnician returns the technician of a car. confirm is given the times at which he presses Enter.
func NewTechnician(c *car.Car, confirm func(time.Time)) *Technician {
	return &Technician{car: c, confirm: confirm}
}

// How long it takes to find the connector, and from there to the key.
const (
	toConnector = 1200 * time.Millisecond
	toKey       = 600 * time.Millisecond
)

// Idle has the car stand at idle in Park.
func (t *Technician) Idle(at time.Time) { t.car.Do(at, car.ParkIdle, 0) }

// Obey carries out an event that asks for something.
func (t *Technician) Obey(e guide.Event) {
	if e.Kind != guide.Asked {
		return
	}
	switch e.Ask {
	case guide.AskUnplug:
		t.reach(e.At, func(at time.Time) error { return t.car.Unplug(at, e.Cylinder) })
	case guide.AskPlugIn:
		t.reach(e.At, func(at time.Time) error { return t.car.PlugIn(at, e.Cylinder) })
	}
}

// reach does something at the connector, then presses Enter.
func (t *Technician) reach(at time.Time, do func(time.Time) error) {
	t.due = at.Add(toConnector)
	t.do = func(at time.Time) error {
		t.due = at.Add(toKey)
		t.do = func(at time.Time) error {
			t.do = nil
			t.confirm(at)
			return nil
		}
		return do(at)
	}
}

// Work goes on with what he is about to do.
func (t *Technician) Work(now time.Time) error {
	if t.do == nil || now.Before(t.due) {
		return nil
	}
	return t.do(now)
}
