package car

// cycle is what a driving cycle has met so far.
type cycle struct {
	coldest, hottest float64 // coolant
	running          float64 // seconds
	road             float64 // seconds at 40 km/h or more
	idle, longest    float64 // seconds of unbroken idle, and the longest stretch
	monitors         readiness
}

func newCycle(coolant float64) cycle {
	return cycle{coldest: coolant, hottest: coolant, monitors: readiness{cold: coolant < 35}}
}

func (d *cycle) step(m *machine, closed bool) {
	d.hottest = max(d.hottest, m.coolant)
	d.running += tick
	if m.speed >= 40/3.6 {
		d.road += tick
	}
	d.idle += tick
	if m.speed > 1.6/3.6 || m.crank > m.v.Idle+200 {
		d.idle = 0
	}
	d.longest = max(d.longest, d.idle)
	d.monitors.step(m, closed)
}

// warmedUp is a warm-up cycle: 22 K up to at least 71 degrees (misfire-rules section 4).
func (d *cycle) warmedUp() bool { return d.hottest >= 71 && d.hottest-d.coldest >= 22 }

// general is the general denominator trip: 600 s running, 300 s of it at 40 km/h, 30 s of unbroken idle
// (13 CCR 1968.2 (d)(4.3.2), misfire-rules section 4).
func (d *cycle) general() bool { return d.running >= 600 && d.road >= 300 && d.longest >= 30 }

// readiness is how far the non-continuous monitors have come.
type readiness struct {
	warm, road float64 // seconds in closed loop, and of those at 40 km/h or more
	cold       bool    // began with a cold engine, without which the tank is not tested
}

// The monitors that the simulated cars have, by their bit in PID 01 byte C and D.
const (
	catalystMonitor    = 0x01
	evaporativeMonitor = 0x04
	oxygenMonitor      = 0x20
	heaterMonitor      = 0x40
	valveMonitor       = 0x80
	allMonitors        = catalystMonitor | evaporativeMonitor | oxygenMonitor | heaterMonitor | valveMonitor
)

func (r *readiness) step(m *machine, closed bool) {
	if !closed {
		return
	}
	r.warm += tick
	if m.speed >= 40/3.6 {
		r.road += tick
	}
}

// done are the bits of the monitors that have run. How long each takes is ours.
func (r *readiness) done() (bits byte) {
	if r.warm >= 20 {
		bits |= heaterMonitor
	}
	if r.warm >= 180 {
		bits |= valveMonitor
	}
	if r.warm >= 120 && r.road >= 30 {
		bits |= oxygenMonitor
	}
	if r.warm >= 300 && r.road >= 90 {
		bits |= catalystMonitor
	}
	if r.cold && r.warm >= 600 && r.road >= 200 {
		bits |= evaporativeMonitor
	}
	return bits
}
