package car

import (
	"math/rand/v2"
	"time"
)

// Maneuver is something a driver does with the car. Getting there takes the seconds it takes: a car that
// moves is braked before Park is selected, an engine that stands is started before it can idle.
type Maneuver uint8

// The maneuvers.
const (
	KeyOff      Maneuver = iota // at rest in Park, ignition off: nothing answers
	KeyOn                       // at rest in Park, ignition on, engine off
	Start                       // crank the engine, then leave it in Park
	ParkIdle                    // idle in Park
	DriveIdle                   // idle in Drive with the brake held
	ReverseIdle                 // idle in Reverse with the brake held
	RaisedIdle                  // 2500 rpm in Park
	Cruise                      // a steady 60 to 80 km/h
	Pull                        // hard acceleration uphill, 75 to 90 % load
	Coast                       // foot off: overrun with the fuel cut, then creeping
)

// String names the maneuver.
func (m Maneuver) String() string {
	names := [...]string{"key off", "key on", "start", "park idle", "drive idle", "reverse idle",
		"raised idle", "cruise", "pull", "coast"}
	if int(m) < len(names) {
		return names[m]
	}
	return "unknown"
}

// selector is where the lever has to be for the maneuver.
func (m Maneuver) selector() selector {
	switch m {
	case DriveIdle, Cruise, Pull, Coast:
		return drive
	case ReverseIdle:
		return reverse
	}
	return park
}

// Step is one entry of a driver's list. A Duration of zero means for good.
type Step struct {
	Maneuver Maneuver
	Duration time.Duration // getting there included; varied by a tenth unless Exact
	Exact    bool
	// Unplugged is the cylinder whose injector has its connector off meanwhile; 0 for none.
	Unplugged int
}

// Script is a driver's list: all Steps once, then again and again from the one numbered Loop.
type Script struct {
	Steps []Step
	Loop  int
}

type selector uint8

const (
	park selector = iota
	reverse
	drive
)

type pedal uint8

const (
	off     pedal = iota // no pedal touched, or the brake held at rest
	braking              // slowing to a stop
	raising              // holding 2500 rpm in Park
	holding              // keeping a speed
	pulling              // hard on the pedal
)

// driver turns a script and orders into pedal, lever and key.
type driver struct {
	script Script
	next   int

	maneuver Maneuver
	left     float64 // seconds to go; negative means for good
	ordered  bool    // maneuver was ordered from outside; the script waits
	kept     Maneuver
	keptLeft float64
	keptOff  int

	unplugged int // the cylinder that the script's step starves; 0 for none

	waited float64 // seconds spent on the hand's way to lever or key
	speed  float64 // cruising speed wanted, m/s
	load   float64 // load wanted in a pull, percent
	foot   pedal
	rng    *rand.PCG
}

const forGood = -1

// advance takes the next step of the script once the present one is over.
func (d *driver) advance() {
	if d.left == forGood {
		return
	}
	if d.left -= tick; d.left > 1e-9 {
		return
	}
	if d.ordered {
		d.ordered = false
		d.begin(d.kept, d.keptLeft)
		d.unplugged = d.keptOff
		return
	}
	d.follow()
}

// follow begins the script's next step.
func (d *driver) follow() {
	if len(d.script.Steps) == 0 {
		d.begin(ParkIdle, forGood)
		return
	}
	if d.next >= len(d.script.Steps) {
		d.next = d.script.Loop
	}
	s := d.script.Steps[d.next]
	d.next++
	left := s.Duration.Seconds()
	if !s.Exact {
		left *= 0.9 + 0.2*uniform(d.rng)
	}
	if s.Duration <= 0 {
		left = forGood
	}
	d.begin(s.Maneuver, left)
	d.unplugged = s.Unplugged
}

func (d *driver) begin(m Maneuver, left float64) {
	d.maneuver, d.left, d.waited = m, left, 0
	d.speed = (64 + 14*uniform(d.rng)) / 3.6
	d.load = 79 + 7*uniform(d.rng)
}

// order puts a maneuver in front of the script, which resumes where it was left when the order is done.
func (d *driver) order(m Maneuver, left float64) {
	if !d.ordered {
		d.kept, d.keptLeft, d.keptOff = d.maneuver, d.left, d.unplugged
		d.unplugged = 0
	}
	d.ordered = true
	if m == d.maneuver {
		d.left = left // said again, not begun again
		return
	}
	d.begin(m, left)
}

// act moves key, lever and foot for one tick.
func (d *driver) act(m *machine) {
	d.advance()
	d.foot = off
	if m.speed > 0 && (m.selector != d.maneuver.selector()) {
		d.foot = braking
		return
	}
	if m.selector != d.maneuver.selector() {
		d.shiftLever(m)
		return
	}
	switch d.maneuver {
	case KeyOff, KeyOn:
		d.turnKey(m)
		return
	}
	if !m.running {
		d.crank(m)
		return
	}
	switch d.maneuver {
	case DriveIdle:
		if m.speed > 0 {
			d.foot = braking
		}
	case RaisedIdle:
		d.foot = raising
	case Cruise:
		d.foot = holding
		if m.speed > d.speed+2.5 {
			d.foot = braking // off a pull, with a light foot
		}
	case Pull:
		d.foot = pulling
	}
}

// shiftLever moves the selector at rest, once the engine is down at idle and the hand has got there.
func (d *driver) shiftLever(m *machine) {
	if m.running && m.rpm > 1250 {
		return
	}
	if d.waited += tick; d.waited < 0.7 {
		return
	}
	d.waited = 0
	m.engage(d.maneuver.selector())
}

// turnKey takes the engine's ignition away, and all of it if the maneuver wants the car asleep.
func (d *driver) turnKey(m *machine) {
	if d.waited += tick; d.waited < 0.5 {
		return
	}
	m.key = on
	if d.maneuver == KeyOff {
		m.key = asleep
	}
	m.stop()
}

// crank wakes the modules for a second, then turns the starter until the engine runs.
func (d *driver) crank(m *machine) {
	if m.key == asleep {
		m.key, d.waited = on, 0
	}
	if d.waited += tick; d.waited >= 1 {
		m.key = starter
	}
}
