package lab

import (
	"math"
	"math/rand/v2"
)

// Truth is what the lever really did.
type Truth uint8

const (
	Off  Truth = iota // the engine stands
	Free              // park, neutral or clutch in, at rest
	Gear              // drive or reverse, at rest
	Roll              // the car moves
)

const (
	dt     = 0.02 // s
	perRPM = 2 * math.Pi / 60
)

// Car is one car.
type Car struct {
	litres   float64
	target   float64 // idle in park, rpm
	drop     float64 // of the target in gear
	box      float64 // Nm the converter takes at 700 rpm; 0 for a box that takes none
	letsGo   float64 // s after a stop at which the box lets go by itself; 0 for never
	takesUp  float64 // s from the lever to the torque
	noise    float64 // points of load
	wander   float64 // rpm
	cold     float64 // rpm above the target at the start, which fade
	fade     float64 // s
	ratio    float64 // rpm per km/h
	stopsOff bool    // the engine stops at a stop
	hybrid   bool    // and while driving slowly
}

// accessory is a torque that goes to what is wanted at once, or by a ramp.
type accessory struct {
	now, wanted float64 // Nm at 700 rpm
	ramp        float64 // s from nothing to all
	full        float64
	electric    bool
	raises      float64 // rpm by which the idle is raised while it is on
}

func (a *accessory) step() {
	if a.ramp <= 0 {
		a.now = a.wanted
		return
	}
	pace := a.full * dt / a.ramp
	a.now += min(max(a.wanted-a.now, -pace), pace)
}

// engine is the balance as it runs.
type engine struct {
	car         *Car
	rng         *rand.Rand
	accessories []*accessory
	running     bool
	since       float64 // s since it was started
	speed       float64 // rpm
	air         float64 // Nm that the air could give, lagging
	integral    float64
	gripped     float64 // 0 to 1: how far the box has taken up
	grips       bool    // the lever is in gear and the box does not let go
	pending     float64 // s until grips is obeyed
	was         bool
	hunt        float64
}

// most is the torque at a load of 100 %, in Nm: 95 Nm a litre.
func (e *engine) most() float64 { return 95 * e.car.litres }

// friction in Nm: 11 a litre warm, and more cold.
func (e *engine) friction() float64 {
	return e.car.litres * (14 + 4*e.coldness())
}

func (e *engine) coldness() float64 {
	if e.car.cold == 0 {
		return 0
	}
	return math.Exp(-e.since / e.car.fade)
}

func (e *engine) start() {
	e.running, e.since = true, 0
	e.speed, e.air = e.car.target+350, e.friction()*1.35
	e.integral = e.friction()
}

// wanted is the idle speed asked for.
func (e *engine) wanted() float64 {
	rpm := e.car.target + e.car.cold*e.coldness()
	if e.was && e.car.cold*e.coldness() < 150 {
		rpm -= e.car.drop
	}
	for _, a := range e.accessories {
		if a.full > 0 && a.raises != 0 {
			rpm += a.raises * a.now / a.full
		}
	}
	return rpm
}

// idle goes on by dt at rest.
func (e *engine) idle(inGear bool) {
	e.since += dt
	if inGear != e.was {
		e.was, e.pending = inGear, e.car.takesUp
		if !inGear {
			e.pending /= 3
		}
	}
	if e.pending -= dt; e.pending <= 0 {
		e.grips = inGear
	}
	e.grip()
	n := e.speed / 700
	load := e.friction() + e.gripped*e.car.box*n*n
	for _, a := range e.accessories {
		a.step()
		if a.electric {
			load += a.now / max(n, 0.5) // constant power
		} else {
			load += a.now
		}
	}
	off := e.wanted() - e.speed
	e.integral += off * 0.12 * e.car.litres * dt
	ask := e.integral + off*0.08*e.car.litres
	e.air += (max(ask, 0) - e.air) * dt / 0.25
	spark := min(max(off*0.0015, -0.12), 0.08)
	inertia := 0.12 * e.car.litres / 2
	e.speed += (e.air*(1+spark) - load) / inertia / perRPM * dt
	e.speed = max(e.speed, 300)
	e.hunt += -e.hunt*dt/1.2 + e.car.wander*math.Sqrt(2*dt/1.2)*e.rng.NormFloat64()
}

// grip has the box take up in 0.3 to 0.8 s, and let go in 0.25.
func (e *engine) grip() {
	if e.grips {
		e.gripped = min(e.gripped+dt/0.5, 1)
	} else {
		e.gripped = max(e.gripped-dt/0.25, 0)
	}
}

// roll goes on by dt at a road speed in km/h with a pedal in per cent above rest.
func (e *engine) roll(kmh, pedal float64, n float64) {
	e.since += dt
	e.was, e.grips, e.gripped = true, true, 1
	rpm := max(kmh*e.car.ratio*n, e.wanted()+8*pedal)
	e.speed += (rpm - e.speed) * dt / 0.5
	air := e.most() * (0.12 + 0.03*pedal)
	if pedal == 0 {
		air = e.most() * 0.13
	}
	e.air += (air - e.air) * dt / 0.3
	e.integral = e.friction() + e.car.box
}

// share is the calculated load, in per cent.
func (e *engine) share() float64 { return 100 * e.air / e.most() }
