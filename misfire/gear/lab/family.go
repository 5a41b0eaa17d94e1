package lab

import "math/rand/v2"

// Box is what there is to tell of the gearbox, in words of this package's own.
type Box uint8

const (
	Clutch    Box = iota // a manual gearbox
	Converter            // an automatic with a converter, or a CVT
	Neither              // dual clutch, hybrid
)

// Family is cars and drivers that have something in common.
type Family struct {
	Name      string
	Box       Box
	Held      bool    // left out of all tuning
	NeverGear bool    // it never leaves park
	poll      float64 // s between polls; 0 for any
	car       func(c *Car, rng *rand.Rand)
	loads     []func(d *driver)
	story     func(d *driver)
}

// Make makes a drive of the family.
func (f *Family) Make(seed uint64) *Drive {
	rng := rand.New(rand.NewPCG(seed, 77))
	u := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	c := &Car{litres: u(1.2, 3.2), target: u(650, 800), drop: u(20, 110), box: u(9, 20), takesUp: u(0.3, 1),
		noise: u(0.2, 0.6), wander: u(3, 8), ratio: u(24, 34)}
	c.box = max(c.box, 4.2*c.litres) // 4 to 13 points of load
	if f.car != nil {
		f.car(c, rng)
	}
	d := newDriver(c, rng)
	if f.poll > 0 {
		d.poll, d.every = f.poll, 1
	}
	for _, l := range f.loads {
		l(d)
	}
	f.story(d)
	return &d.drive
}

// Stories.

func errands(d *driver) {
	d.ignite()
	d.wait(d.between(20, 90))
	d.shift(true)
	d.wait(d.between(2, 10))
	d.trips(false, false)
}

// trips drives from stop to stop; a driver who takes neutral does so at most stops.
func (d *driver) trips(manual, neutral bool) {
	for range 3 + d.rng.IntN(4) {
		d.town(manual)
		stay := d.between(5, 45)
		switch {
		case neutral && stay > 8 && d.rng.Float64() < 0.7:
			d.wait(d.between(0.8, 4))
			d.shift(false)
			d.wait(stay - 5)
			d.shift(true)
			d.wait(d.between(1, 3))
		case !manual && d.rng.Float64() < 0.25: // parks and goes on
			d.wait(d.between(3, 8))
			d.restart()
			d.shift(false)
			d.wait(d.between(15, 60))
			d.shift(true)
			d.wait(d.between(2, 8))
		default:
			d.wait(stay)
		}
	}
	d.restart()
	d.wait(d.between(3, 10))
	d.shift(false)
	d.wait(d.between(10, 40))
}

func clutched(d *driver) {
	d.ignite()
	d.wait(d.between(20, 90))
	d.trips(true, false)
}

func atLights(d *driver) {
	d.ignite()
	d.wait(d.between(20, 60))
	d.shift(true)
	d.wait(d.between(2, 10))
	d.trips(false, true)
}

// joined begins on the road.
func joined(d *driver) {
	d.engine.start()
	d.engine.since, d.inGear, d.kmh = 400, true, 40
	d.pedal = 5
	d.wait(d.between(5, 20))
	d.pedal = 0
	for d.kmh > 0 {
		d.kmh = max(0, d.kmh-1.5)
		d.wait(0.2)
	}
	d.stood = 0
	d.wait(d.between(5, 30))
	d.trips(false, false)
}

// tested is park, drive, park and reverse on the brake; the car never moves.
func tested(d *driver) {
	d.ignite()
	d.wait(d.between(40, 90))
	for range 3 {
		d.shift(true)
		d.wait(d.between(40, 90))
		d.shift(false)
		d.wait(d.between(20, 60))
	}
}

func parked(d *driver) {
	d.ignite()
	for d.now < 400 {
		d.wait(d.between(5, 40))
	}
}

// Accessories.

// compressor cycles by its clutch, at least twice a minute (a service manual of a cycling system, 1983), switched on
// for some part of the drive.
func compressor(raises func(d *driver) float64) func(*driver) {
	return func(d *driver) {
		a := &accessory{full: d.between(7, 20), raises: raises(d)}
		on, off := d.between(0, 60), 1e9
		if d.rng.Float64() < 0.5 {
			off = d.between(200, 400)
		}
		next := on
		d.accessories = append(d.accessories, a)
		d.agenda = append(d.agenda, func(d *driver) {
			if d.now < next || !d.running {
				return
			}
			switch {
			case d.now > off:
				a.wanted, next = 0, 1e9
			case a.wanted == 0:
				a.wanted, next = a.full, d.now+d.between(8, 30)
			default:
				a.wanted, next = 0, d.now+d.between(6, 20)
			}
		})
	}
}

func held(*driver) float64     { return 0 }
func raised(d *driver) float64 { return d.between(0, 90) }
func droops(d *driver) float64 { return -d.between(10, 50) }

// variable is a compressor without a clutch, which goes from one load to another in 3 to 12 s.
func variable(d *driver) {
	a := &accessory{full: d.between(7, 18), ramp: d.between(3, 12), raises: raised(d)}
	next := d.between(10, 60)
	d.accessories = append(d.accessories, a)
	d.agenda = append(d.agenda, func(d *driver) {
		if d.now >= next {
			a.wanted, next = a.full*d.between(0.2, 1), d.now+d.between(20, 90)
		}
	})
}

// electric is so many watts at 700 rpm through an alternator that takes its time (a bulletin on alternator response).
func electric(d *driver, watts float64) *accessory {
	a := &accessory{full: watts / (0.55 * 700 * perRPM), ramp: d.between(2, 5), electric: true}
	d.accessories = append(d.accessories, a)
	return a
}

func screen(d *driver) {
	a := electric(d, d.between(300, 600))
	on, off := d.between(8, 40), d.between(150, 420)
	d.agenda = append(d.agenda, func(d *driver) {
		a.wanted = 0
		if d.now > on && d.now < off && d.running {
			a.wanted = a.full
		}
	})
}

func fan(d *driver) {
	a := electric(d, d.between(150, 400))
	next := d.between(60, 160)
	d.agenda = append(d.agenda, func(d *driver) {
		switch {
		case d.now < next:
		case a.wanted == 0:
			a.wanted, next = a.full, d.now+d.between(20, 45)
		default:
			a.wanted, next = 0, d.now+d.between(50, 120)
		}
	})
}

// steering pulses at rest, 0.7 to 4 s.
func steering(d *driver) {
	a := &accessory{full: d.between(4, 14)}
	next := d.between(10, 60)
	d.accessories = append(d.accessories, a)
	d.agenda = append(d.agenda, func(d *driver) {
		switch {
		case d.now < next:
		case a.wanted == 0:
			a.wanted, next = a.full*d.between(0.5, 1), d.now+d.between(0.7, 4)
		default:
			a.wanted, next = 0, d.now+d.between(15, 90)
		}
	})
}

// Cars.

func holds(c *Car, _ *rand.Rand) { c.drop = 0 }

func chilled(c *Car, rng *rand.Rand) {
	c.cold, c.fade = 300+300*rng.Float64(), 60+80*rng.Float64()
}

func stepless(c *Car, rng *rand.Rand) {
	c.box, c.drop = (4.2+3*rng.Float64())*c.litres, 40*rng.Float64()
}

func unloaded(c *Car, _ *rand.Rand) { c.box, c.drop = 0, 0 }

func electrified(c *Car, _ *rand.Rand) { c.box, c.drop, c.hybrid, c.stopsOff = 0, 0, true, true }

func thrifty(c *Car, _ *rand.Rand) { c.stopsOff = true }

func relaxed(c *Car, _ *rand.Rand) { c.letsGo = 2 }

func large(c *Car, rng *rand.Rand) { c.litres, c.box, c.drop = 3, 10+3*rng.Float64(), 40*rng.Float64() }

// Families are all there are.
func Families() []Family {
	type loads = []func(*driver)
	clutchAC := compressor(raised)
	return []Family{
		{Name: "converter", Box: Converter, story: errands},
		{Name: "idle held", Box: Converter, car: holds, story: errands},
		{Name: "cold fast idle", Box: Converter, car: chilled, story: errands},
		{Name: "CVT", Box: Converter, car: stepless, story: errands},
		{Name: "A/C", Box: Converter, loads: loads{clutchAC}, story: errands},
		{Name: "A/C, steering, fan", Box: Converter, loads: loads{clutchAC, steering, fan}, story: errands},
		{Name: "A/C with droop", Box: Converter, loads: loads{compressor(droops)}, story: errands},
		{Name: "variable A/C", Box: Converter, loads: loads{variable}, story: errands},
		{Name: "fan, screen, steering", Box: Converter, loads: loads{fan, screen, steering}, story: errands},
		{Name: "manual", Box: Clutch, car: unloaded, story: clutched},
		{Name: "manual, A/C", Box: Clutch, car: unloaded, loads: loads{compressor(held)}, story: clutched},
		{Name: "idle-neutral control", Box: Converter, car: relaxed, story: errands},
		{Name: "start-stop", Box: Converter, car: thrifty, story: errands},
		{Name: "hybrid", Box: Neither, car: electrified, story: errands},
		{Name: "P/D/P/R on the brake", Box: Converter, story: tested},
		{Name: "N at lights", Box: Converter, story: atLights},
		{Name: "Park only, A/C", Box: Converter, NeverGear: true, loads: loads{clutchAC}, story: parked},
		{Name: "Park only, A/C droop", Box: Converter, NeverGear: true, loads: loads{compressor(droops)}, story: parked},
		{Name: "Park only, screen, fan", Box: Converter, NeverGear: true, loads: loads{screen, fan}, story: parked},
		{Name: "small step, 3 l", Box: Converter, Held: true, car: large, story: errands},
		{Name: "N at lights, A/C", Box: Converter, Held: true, loads: loads{clutchAC}, story: atLights},
		{Name: "joined on the road, A/C", Box: Converter, Held: true, loads: loads{clutchAC}, story: joined},
		{Name: "2 Hz, cold, A/C", Box: Converter, Held: true, poll: 0.5, car: chilled, loads: loads{clutchAC}, story: errands},
		{Name: "dual clutch", Box: Neither, Held: true, car: unloaded, story: errands},
		{Name: "start-stop, A/C", Box: Converter, Held: true, car: thrifty, loads: loads{clutchAC}, story: errands},
		{Name: "Park only, all", Box: Converter, Held: true, NeverGear: true, loads: loads{clutchAC, screen, fan, steering}, story: parked},
		{Name: "Park only, cold, A/C", Box: Converter, Held: true, NeverGear: true, car: chilled, loads: loads{clutchAC}, story: parked},
	}
}
