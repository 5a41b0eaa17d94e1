package misfire

import (
	"time"

	"stumble/misfire/track"
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

// exposure turns engine speed into steps.
type exposure struct {
	track.State
	loadAt  LoadBand
	rpmAt   RPMBand
	starts  int // engine starts seen, counting an engine found running as one
	monitor monitor
}

func newExposure() exposure { return exposure{State: track.New(), monitor: newMonitor()} }

// take takes a reading of service 01.
func (e *exposure) take(r *obd.Reading, at time.Time) track.Event {
	seen := e.State.Take(r, at)
	switch {
	case seen == 0:
	case seen&track.Started != 0:
		e.starts++
	case r.ID == obd.PIDLoad:
		e.loadAt = LoadBand(stay(loadEdges[:], loadSlack, int(e.loadAt), r.Value))
		e.monitor.addLoad(r.Value)
	case r.ID == obd.PIDThrottle:
		e.monitor.addThrottle(r.Value, at)
	}
	return seen
}

// between is the step from the reading of engine speed before the newest to that one: the trapezoid of both.
func (e *exposure) between(start time.Time) step {
	e.rpmAt = RPMBand(stay(rpmEdges[:], rpmSlack, int(e.rpmAt), e.RPM.V))
	s := step{
		from:      e.Before.At.Sub(start).Seconds(),
		to:        e.RPM.At.Sub(start).Seconds(),
		load:      e.loadAt,
		rpm:       e.rpmAt,
		warm:      e.Warm(),
		heat:      e.Coolant.Known(),
		monitored: e.monitor.judges(&e.State, e.Before),
		known:     e.RPM.At.Sub(e.Before.At) <= track.Hole,
	}
	if e.Load.Known() {
		s.percent = e.Load.V
	}
	if s.known {
		s.revs = (e.Before.V + e.RPM.V) / 2 / 60 * (s.to - s.from)
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
