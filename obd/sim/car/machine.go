package car

import (
	"math"
	"math/rand/v2"
	"time"
)

// The grid of the simulation: as a duration, and in seconds.
const (
	grid = 20 * time.Millisecond
	tick = 0.02
)

type keyPosition uint8

const (
	asleep keyPosition = iota
	on
	starter
)

// machine is the moving part of the car: crank, gearbox, wheels and heat. It is a plain kinematic model:
// enough for a diagnostic program to see what it would see on the road, no more.
type machine struct {
	v   *Vehicle
	rng *rand.PCG

	key      keyPosition
	selector selector
	foot     pedal
	gear     int // forward gear engaged, from 1; 0 in Park and Reverse

	running bool
	cranked float64 // seconds the starter has turned
	ran     float64 // seconds since this start
	revs    float64 // crank turns since this start

	rpm   float64 // governed speed, without hunting and misses
	crank float64 // speed of the crank, what the sensor sees
	drawn float64 // load without its unrest, percent
	load  float64 // calculated load, percent
	speed float64 // m/s
	accel float64 // m/s2

	hunt, loadHunt float64 // slow random wander
	dip            float64 // speed lost to misses, rpm (negative)
	dipMean        float64 // what idle control has put back
	sag, sagMean   float64 // the same of a cylinder that gives no work for a while, which slows the engine as a whole
	flare          float64 // overshoot after the start, rpm
	lever          float64 // dip as a gear takes up, rpm (negative)
	shifted        float64 // seconds since the last gear change
	shut           float64 // seconds the throttle has been shut on the move
	fuelCut        bool

	coolant, oil, intake, ambient float64 // degrees Celsius
	metres                        float64 // since the simulation began
	fuel                          float64 // percent of the tank
}

// moving is a speed that the speed sensor shows as 1 km/h or more.
func (m *machine) moving() bool { return m.speed >= 1/3.6 }

// engage puts the selector where it is wanted; the converter drags the idle down until idle control answers.
func (m *machine) engage(s selector) {
	m.gear = 0
	if s == drive {
		m.gear = 1
	}
	if m.running && s != park {
		m.lever = -120
	}
	m.selector = s
}

// stop ends the running of the engine; the crank runs down by itself.
func (m *machine) stop() {
	m.running, m.fuelCut = false, false
	m.cranked, m.shut = 0, 0
	m.dip, m.dipMean, m.sag, m.sagMean, m.flare, m.lever = 0, 0, 0, 0, 0, 0
}

// step moves everything on by one tick, and reports whether the engine has just started.
func (m *machine) step(f pedal, d *driver) (started bool) {
	m.foot = f
	if !m.running {
		return m.rest()
	}
	m.ran += tick
	m.wander()
	m.cutFuel(f)
	m.pickGear()
	m.breathe(f, d)
	m.roll(f, d)
	m.spin(f)
	m.warm()
	m.revs += m.crank / 60 * tick
	return false
}

// rest is a tick without combustion: running down, standing or cranking.
func (m *machine) rest() (started bool) {
	m.load, m.drawn, m.accel = 0, 0, 0
	m.coolant += (m.ambient - m.coolant) * tick / 5400
	m.oil += (m.ambient - m.oil) * tick / 5400
	if m.key != starter {
		if m.crank = m.crank*0.9 - 2; m.crank < 0 {
			m.crank = 0
		}
		m.rpm = m.crank
		return false
	}
	m.cranked += tick
	m.crank = 205 + 25*math.Sin(m.cranked*20)
	m.rpm = m.crank
	m.load, m.drawn = 45, 45
	if m.cranked < 0.9 {
		return false
	}
	m.running, m.key = true, on
	m.ran, m.revs, m.flare = 0, 0, 620
	m.rpm = m.v.Idle - 150 // the speed that counts as started, misfire-rules section 4
	m.crank = m.rpm
	return true
}

// wander is the unrest of a healthy idle: speed by some 6 rpm, load by half a point.
func (m *machine) wander() {
	m.hunt += -m.hunt*tick/1.5 + 0.95*normal(m.rng)
	m.loadHunt += -m.loadHunt*tick/1.2 + 0.1*normal(m.rng)
	m.dip -= m.dip * tick / 0.3
	m.dipMean += (m.dip - m.dipMean) * tick / 3
	m.sag -= m.sag * tick / 0.8
	m.sagMean += (m.sag - m.sagMean) * tick / 3
	m.flare -= m.flare * tick / 0.9
	m.lever -= m.lever * tick / 0.8
}

// miss is the crank slowing after a firing that did not burn. A heavier, faster or many-cylindered engine feels it
// less.
func (m *machine) miss() { m.dip -= 27 * m.felt() }

// lose is a firing without fuel, for the share of a sound cylinder's work that is lost with it: beside the dip the engine
// as a whole slows down within a second, until idle control has won it back.
func (m *machine) lose(share float64) {
	m.dip -= 27 * share * m.felt()
	m.sag -= 12 * share * m.felt()
}

// felt is how much a firing of this engine, at this speed, tells against one of four at idle.
func (m *machine) felt() float64 { return 4 / float64(m.v.Cylinders()) * min(1, m.v.Idle/m.crank) }

// ratio is crank speed over wheel speed.
func (m *machine) ratio() float64 {
	if m.gear == 0 {
		return 0
	}
	return m.v.Ratios[m.gear-1] * m.v.Final
}

const wheelRadius = 0.30

// locked is the crank speed at which the converter would not slip.
func (m *machine) locked() float64 { return m.speed / wheelRadius * m.ratio() * 30 / math.Pi }

// cutFuel shuts the injectors off on overrun, and opens them again before the engine would stall.
func (m *machine) cutFuel(f pedal) {
	closed := f == off || f == braking
	if !closed || !m.moving() {
		m.shut, m.fuelCut = 0, false
		return
	}
	m.shut += tick
	switch {
	case m.crank < 1150:
		m.fuelCut = false
	case m.crank > 1350 && m.shut > 0.6:
		m.fuelCut = true
	}
}

// pickGear changes gear by crank speed and load; a change rests the box for a second.
func (m *machine) pickGear() {
	m.shifted += tick
	if m.selector != drive {
		return
	}
	if !m.moving() {
		m.gear = 1
		return
	}
	if m.shifted < 1.2 {
		return
	}
	up := 1900 + 30*max(0, m.load-25)
	down := 1100 + 13*max(0, m.load-30)
	locked := m.locked()
	switch {
	case locked > up && m.gear < len(m.v.Ratios):
		m.gear++
		m.shifted = 0
	case m.gear > 1 && (locked < down || m.kicksDown(locked, up)):
		m.gear--
		m.shifted = 0
	}
}

// kicksDown reports whether a hard pull calls for the gear below, and that gear leaves room to pull.
func (m *machine) kicksDown(locked, up float64) bool {
	step := m.v.Ratios[m.gear-2] / m.v.Ratios[m.gear-1]
	return m.load > 75 && locked*step < 0.85*up
}

// friction is the load, in percent, that turns the engine without doing work.
const friction = 19

// pull is the driving force at the wheels for a load, N.
func (m *machine) pull(load float64) float64 {
	torque := m.v.Torque * (load - friction) / (100 - friction)
	return torque * m.ratio() * m.stretch() * 0.92 / wheelRadius
}

// needed is the load that gives a driving force.
func (m *machine) needed(force float64) float64 {
	torque := force * wheelRadius / (m.ratio() * m.stretch() * 0.92)
	return friction + (100-friction)*torque/m.v.Torque
}

// stretch is the converter's torque multiplication: most at rest, none when locked.
func (m *machine) stretch() float64 { return 1 + 0.8*max(0, 1-m.locked()/max(m.rpm, 500)) }

// resistance is rolling and air drag, N.
func (m *machine) resistance() float64 { return m.v.Mass*0.11 + 0.39*m.speed*m.speed }

// overrun and shutLoad are the calculated load with the throttle shut on the move, fuel off and on.
const (
	overrun  = 12
	shutLoad = 15
)

// breathe brings the load to what the foot asks for.
func (m *machine) breathe(f pedal, d *driver) {
	cold := max(0, 70-m.coolant) / 50
	want := m.v.IdleLoad + 2*cold
	switch {
	case m.fuelCut:
		want = overrun
	case f == raising:
		want += 2 + max(0, 2500-m.rpm)/60
	case f == holding:
		accel := min(1.1, max(-0.8, 0.3*(d.speed-m.speed)))
		want = min(72, max(shutLoad, m.needed(m.v.Mass*accel+m.resistance())))
	case f == pulling:
		want = d.load
	case m.moving() && m.locked() > m.v.DriveIdle+250:
		want = shutLoad
	case m.selector == drive:
		want += m.v.GearLoad
	case m.selector == reverse:
		want += m.v.GearLoad + 1.2
	}
	m.drawn += (want - m.drawn) * tick / 0.35
	m.load = min(99, max(overrun, m.drawn))
	if m.drawn > shutLoad { // a throttle on its stop lets nothing waver
		m.load = max(shutLoad, m.load+m.loadHunt)
	}
}

// roll moves the car.
func (m *machine) roll(f pedal, d *driver) {
	m.accel = 0
	if m.selector != drive {
		m.speed = 0
		return
	}
	switch f {
	case braking:
		m.accel = -2.1
		if d.maneuver == Cruise {
			m.accel = -0.9
		}
	case holding:
		m.accel = min(3, (m.pull(m.load)-m.resistance())/m.v.Mass)
	case pulling:
		// The hill steepens until it takes all there is at about 105 km/h.
		m.accel = min(3, (m.pull(m.load)-m.resistance())/m.v.Mass, 0.12*(29-m.speed))
	case off:
		if d.maneuver == Coast {
			m.accel = m.creep()
		}
	}
	m.speed = max(0, m.speed+m.accel*tick)
	m.metres += m.speed * tick
}

// creep is rolling with no foot on anything: engine braking, then the converter's pull at walking pace.
func (m *machine) creep() float64 {
	const walking = 2
	if m.speed < walking {
		return 0.4 * (walking - m.speed)
	}
	return min(-0.15, (m.pull(min(m.load, friction))-m.resistance())/m.v.Mass)
}

// spin brings crank speed to what gearbox and idle control ask for.
func (m *machine) spin(f pedal) {
	cold := max(0, 70-m.coolant)
	idle := m.v.Idle + 6*cold
	if m.selector != park {
		idle = m.v.DriveIdle + 4*cold
	}
	target, lag := idle, 0.45
	switch {
	case m.moving():
		slip := idle + 22*max(0, m.load-m.v.IdleLoad-m.v.GearLoad-2)
		target, lag = max(m.locked()*1.02, slip), 0.22
	case f == raising:
		target, lag = 2500, 0.6
	case f == holding || f == pulling:
		target = idle + 22*max(0, m.load-m.v.IdleLoad-m.v.GearLoad-2)
	}
	m.rpm += (target - m.rpm) * tick / lag
	steady := 1.0
	if m.moving() {
		steady = 0.4 // the wheels hold the crank
	}
	m.crank = max(300, m.rpm+m.flare+m.lever+steady*(m.hunt+m.dip-m.dipMean+m.sag-m.sagMean))
}

// warm follows the heat: an idle warms slowly, work warms fast, the thermostat holds about 90 degrees.
func (m *machine) warm() {
	heat := 0.07 + 0.00008*m.crank*m.load/25
	m.coolant += tick * (heat*max(0, min(1, (93-m.coolant)/8)) - 0.00035*(m.coolant-m.ambient))
	m.oil += (m.coolant + 4 - m.oil) * tick / 160
	m.intake += (m.ambient + 22 - 0.5*min(m.speed, 30) - m.intake) * tick / 90
	m.fuel = max(0, m.fuel-tick*m.air()/14.7/740/50*100) // a tank of 50 l of fuel at 740 g/l
}

// air is the mass of air drawn in, g/s: displacement filled at the load's share of 85 %, at 1.184 g/l.
func (m *machine) air() float64 {
	return m.load / 100 * 0.85 * m.v.Litres * m.crank / 120 * 1.184
}

// gearState is where the car's firings belong in the truth.
func (m *machine) gearState() GearState {
	switch {
	case m.selector == park:
		return ParkNeutral
	case m.selector == reverse:
		return Reverse
	case m.moving():
		return Moving
	}
	return DriveAtRest
}
