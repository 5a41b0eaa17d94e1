package misfire

import (
	"math"
	"time"

	"stumble/misfire/track"
	"stumble/obd"
)

// monitor tells running that the controller may not judge: fuel cut on overrun, quick throttle moves, gear
// changes. Makers pause their misfire monitor there (13 CCR 1968.2 (e)(3.3), from memory; trade articles on
// misfire monitors say the same), so such running is kept apart and dilutes no rate.
type monitor struct {
	throttleFloor float64 // the least throttle seen: closed
	loadFloor     float64 // the least load seen with the engine running
	lastThrottle  track.Value
	quietFrom     time.Time // quick throttle or gear change: not judged before this time
}

const (
	throttleSlack   = 1.5  // percent above the floor that still counts as closed
	loadFloorRoom   = 3.0  // percent above the floor that still counts as the floor
	quickThrottle   = 40.0 // percent a second that counts as a quick move
	leastThrottle   = 6.0  // percent that a quick move covers at least
	fallingRPM      = 100  // rpm a second of falling speed that goes with overrun
	overrunRPM      = 1100 // no controller cuts fuel below about this (common practice, no source)
	throttleHush    = 300 * time.Millisecond
	throttleStretch = 150 * time.Millisecond
	gearHush        = 300 * time.Millisecond
)

func newMonitor() monitor {
	return monitor{throttleFloor: math.Inf(1), loadFloor: math.Inf(1), lastThrottle: track.Unknown()}
}

// addThrottle looks for quick moves over stretches long enough that the last digit of a reading, and the jitter
// of its time, do not look like one.
func (m *monitor) addThrottle(v float64, at time.Time) {
	m.throttleFloor = min(m.throttleFloor, v)
	since := at.Sub(m.lastThrottle.At)
	if m.lastThrottle.Known() && since < throttleStretch {
		return
	}
	moved := math.Abs(v - m.lastThrottle.V)
	if m.lastThrottle.Known() && since <= track.Hole && moved >= leastThrottle && moved/since.Seconds() >= quickThrottle {
		m.hush(at.Add(throttleHush))
	}
	m.lastThrottle = track.Value{V: v, At: at}
}

func (m *monitor) addLoad(v float64) {
	if v > 0 { // a stopped engine reports none
		m.loadFloor = min(m.loadFloor, v)
	}
}

// gearChanged notes a change of gear: the shake of it may be taken for a miss, so makers look away.
func (m *monitor) gearChanged(at time.Time) { m.hush(at.Add(gearHush)) }

func (m *monitor) hush(until time.Time) {
	if until.After(m.quietFrom) {
		m.quietFrom = until
	}
}

// judges reports whether the controller may judge misfire at the newest engine speed.
func (m *monitor) judges(s *track.State, before track.Value) bool {
	if s.RPM.At.Before(m.quietFrom) {
		return false
	}
	return !m.overrun(s, before)
}

// overrun is fuel cut as far as it can be told: the car says open loop with the throttle closed and more
// speed than idle; or, where it does not say, the throttle is closed, the speed falls and the load is at its
// floor.
func (m *monitor) overrun(s *track.State, before track.Value) bool {
	if s.RPM.V < overrunRPM || !s.Throttle.Known() || s.Throttle.V > m.throttleFloor+throttleSlack {
		return false
	}
	if s.Fuel.Known() {
		return obd.FuelSystem(s.Fuel.V) == obd.OpenLoopDrive
	}
	dt := s.RPM.At.Sub(before.At).Seconds()
	falling := dt > 0 && (before.V-s.RPM.V)/dt >= fallingRPM
	return falling && s.Load.Known() && s.Load.V <= m.loadFloor+loadFloorRoom
}
