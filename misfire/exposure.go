package misfire

import (
	"math"
	"time"

	"stumble/obd"
)

// place is a point of the drive on both axes that a refresh may follow.
type place struct {
	rev float64 // crank revolutions since the tally began
	sec float64 // seconds since the tally began
}

// step is a short piece of running between two readings of engine speed, or a hole between them.
type step struct {
	from, to  float64 // seconds since the tally began
	revs      float64 // crank revolutions; 0 in a hole
	percent   float64 // calculated load; 0 when not known
	load      LoadBand
	rpm       RPMBand
	warm      bool
	heat      bool // coolant was known, so that warm means something
	monitored bool // the controller may judge misfire here
	known     bool // false in a hole: what ran there nobody knows
}

const (
	// longestStep is the longest time between two readings of engine speed that is still bridged by a
	// straight line. Anything longer is unknown running.
	longestStep = 2 * time.Second
	// runningRPM is the speed above which the engine runs by itself: cranking is slower, idle faster.
	// 13 CCR 1968.2 (c) has the start at 150 rpm below warm idle, which few cars have under 550.
	runningRPM = 400
	// stallRPM is the speed under which it has stopped.
	stallRPM = 100
)

// gauge keeps the newest value of one quantity.
type gauge struct {
	value float64
	at    time.Time
}

func newGauge() gauge { return gauge{value: math.NaN()} }

func (g *gauge) set(v float64, at time.Time) { g.value, g.at = v, at }

func (g *gauge) known() bool { return !g.at.IsZero() }

// exposure turns engine speed into steps.
type exposure struct {
	rpm, load, speed, throttle, coolant gauge
	fuel                                gauge

	engine  obd.Module // whose engine speed is taken: the module with the lowest address
	loadAt  LoadBand
	rpmAt   RPMBand
	running bool
	starts  int // engine starts seen, counting an engine found running as one
	monitor monitor
}

func newExposure() exposure {
	return exposure{rpm: newGauge(), load: newGauge(), speed: newGauge(), throttle: newGauge(),
		coolant: newGauge(), fuel: newGauge(), monitor: newMonitor()}
}

// instant is the time that a reading is taken to be of: midway between question and answer.
func instant(s *obd.Sample) time.Time { return s.Sent.Add(s.Received.Sub(s.Sent) / 2) }

// takeRPM takes an engine speed and hands back the one before it. It is false for the speed of another module
// than the engine's: transmissions and the like may pass on a speed of their own, late.
func (e *exposure) takeRPM(r *obd.Reading, at time.Time) (before gauge, ok bool) {
	if e.engine.Bits == 0 || r.Module.ID < e.engine.ID {
		e.engine = r.Module
	}
	if r.Module != e.engine {
		return gauge{}, false
	}
	before = e.rpm
	e.rpm.set(r.Value, at)
	return before, true
}

// take notes any other reading of service 01. What the engine does is believed of the engine's module alone.
func (e *exposure) take(r *obd.Reading, at time.Time) {
	if r.ID == obd.PIDSpeed {
		e.speed.set(r.Value, at)
		return
	}
	if e.engine.Bits != 0 && r.Module != e.engine {
		return
	}
	switch r.ID {
	case obd.PIDLoad:
		e.load.set(r.Value, at)
		e.loadAt = LoadBand(stay(loadEdges[:], loadSlack, int(e.loadAt), r.Value))
		e.monitor.addLoad(r.Value)
	case obd.PIDThrottle:
		e.monitor.addThrottle(r.Value, at)
		e.throttle.set(r.Value, at)
	case obd.PIDCoolant:
		e.coolant.set(r.Value, at)
	case obd.PIDFuelSystem:
		if r.Part == obd.PartFuelSystem1 {
			e.fuel.set(r.Value, at)
		}
	}
}

// warm reports whether the coolant is known to be warm.
func (e *exposure) warm() bool { return e.coolant.value >= WarmAt }

// turn notes whether the engine started or stopped with the newest speed.
func (e *exposure) turn() (started, stopped bool) {
	switch {
	case !e.running && e.rpm.value >= runningRPM:
		e.running = true
		e.starts++
		return true, false
	case e.running && e.rpm.value < stallRPM:
		e.running = false
		return false, true
	}
	return false, false
}

// between is the step from one reading of engine speed to the newest: the trapezoid of both.
func (e *exposure) between(before gauge, start time.Time) step {
	e.rpmAt = RPMBand(stay(rpmEdges[:], rpmSlack, int(e.rpmAt), e.rpm.value))
	s := step{
		from:      before.at.Sub(start).Seconds(),
		to:        e.rpm.at.Sub(start).Seconds(),
		load:      e.loadAt,
		rpm:       e.rpmAt,
		warm:      e.warm(),
		heat:      e.coolant.known(),
		monitored: e.monitor.judges(e, before),
		known:     e.rpm.at.Sub(before.at) <= longestStep,
	}
	if e.load.known() {
		s.percent = e.load.value
	}
	if s.known {
		s.revs = (before.value + e.rpm.value) / 2 / 60 * (s.to - s.from)
	}
	return s
}

// work is the step's speed and load over its revolutions.
func (s *step) work() work {
	seconds := s.to - s.from
	if !(seconds > 0) {
		return work{}
	}
	return work{rpm: 60 * s.revs / seconds * s.revs, load: s.percent * s.revs}
}
