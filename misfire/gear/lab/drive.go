package lab

import (
	"math"
	"math/rand/v2"
)

// Point is what was polled at a time, and what was so.
type Point struct {
	At               float64 // s
	RPM, Load, Speed float64 // Load NaN where it was not asked for then
	Pedal, Volt      float64
	Truth            Truth
}

// Drive is one drive.
type Drive struct {
	Points []Point
	Moves  []Move // of the lever
}

// Move is the lever put somewhere.
type Move struct {
	At     float64
	InGear bool
}

// driver carries out a story on a car, and polls it.
type driver struct {
	*engine
	rng    *rand.Rand
	now    float64
	poll   float64 // s between polls
	next   float64
	polls  int
	every  int // the load is asked for in each nth
	kmh    float64
	pedal  float64
	inGear bool
	stood  float64 // s since the stop
	agenda []func(*driver)
	rest   float64 // pedal at rest
	drive  Drive
}

// newDriver puts a driver into a car.
func newDriver(c *Car, rng *rand.Rand) *driver {
	d := &driver{rng: rng, poll: 1 / (2.5 + 12.5*rng.Float64()), every: 1 + rng.IntN(2), rest: 14 + 4*rng.Float64(),
		stood: 99}
	d.engine = &engine{car: c, rng: rng}
	return d
}

func (d *driver) between(low, high float64) float64 { return low + (high-low)*d.rng.Float64() }

// wait lets time pass.
func (d *driver) wait(seconds float64) {
	for end := d.now + seconds; d.now < end; {
		d.now += dt
		d.stood += dt
		for _, habit := range d.agenda {
			habit(d)
		}
		switch {
		case !d.running:
			d.engine.speed, d.engine.air = 0, 0
		case d.kmh > 0 || d.pedal > 0:
			d.engine.roll(d.kmh, d.pedal, gearing(d.kmh))
		default:
			lets := d.car.letsGo > 0 && d.stood > d.car.letsGo
			d.engine.idle(d.inGear && !lets)
		}
		if d.now >= d.next {
			d.next = d.now + d.poll*d.between(0.85, 1.15)
			d.ask()
		}
	}
}

// gearing is how much shorter than the highest the gear at a speed is.
func gearing(kmh float64) float64 {
	switch {
	case kmh < 18:
		return 3.2
	case kmh < 35:
		return 1.9
	case kmh < 55:
		return 1.35
	}
	return 1
}

// ask polls the car, in the resolution of SAE J1979.
func (d *driver) ask() {
	p := Point{At: d.now, RPM: d.engine.speed, Load: math.NaN(), Speed: math.Floor(d.kmh), Pedal: d.rest + d.pedal,
		Volt: 14.2, Truth: d.truth()}
	if d.running {
		p.RPM += d.hunt
	}
	if d.kmh < 2 {
		p.Speed = 0
	}
	if d.polls%d.every == 0 {
		p.Load = math.Round(max(0, d.share()+d.car.noise*d.rng.NormFloat64())*2.55) / 2.55
	}
	if !d.running {
		p.RPM, p.Load, p.Volt = 0, 0, 12.4
	}
	for _, a := range d.accessories {
		if a.electric && a.now != a.wanted {
			p.Volt -= 0.25 * math.Copysign(1, a.wanted-a.now)
		}
	}
	p.RPM = math.Round(p.RPM*4) / 4
	d.polls++
	d.drive.Points = append(d.drive.Points, p)
}

func (d *driver) truth() Truth {
	switch {
	case !d.running:
		return Off
	case d.kmh > 0:
		return Roll
	case d.inGear:
		return Gear
	}
	return Free
}

// shift moves the lever.
func (d *driver) shift(in bool) {
	if d.inGear != in {
		d.inGear = in
		d.drive.Moves = append(d.drive.Moves, Move{d.now, in})
	}
}

// ignite turns the key and starts.
func (d *driver) ignite() {
	d.wait(d.between(2, 6))
	d.engine.start()
}

// town drives to a speed and comes back to rest.
func (d *driver) town(manual bool) {
	top := d.between(25, 70)
	d.restart()
	if manual {
		d.shift(true)
	}
	d.pedal = d.between(6, 18)
	d.wait(d.between(0.1, 0.6))
	for d.kmh < top {
		d.kmh += d.between(3, 7) * 0.2
		d.wait(0.2)
	}
	d.pedal = d.between(3, 7)
	d.wait(d.between(5, 40))
	d.pedal = 0
	if d.car.hybrid && d.rng.Float64() < 0.7 {
		d.running = false
	}
	for d.kmh > 0 {
		d.kmh = max(0, d.kmh-d.between(5, 10)*0.2)
		if manual && d.kmh < 12 {
			d.inGear = false
			d.engine.grips, d.engine.gripped, d.engine.was = false, 0, false
		}
		d.wait(0.2)
	}
	d.stood = 0
	if manual {
		d.shift(false)
	}
	if d.car.stopsOff && d.rng.Float64() < 0.6 {
		d.wait(d.between(0.8, 2))
		d.running = false
	}
}

// restart starts an engine that stopped by itself.
func (d *driver) restart() {
	if !d.running {
		d.engine.start()
		d.engine.was = d.inGear
		d.wait(d.between(0.4, 1.2))
	}
}
