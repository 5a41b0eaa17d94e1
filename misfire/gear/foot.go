package gear

import "time"

// foot tells whether the driver's foot is off the pedal, from the least value of the pedal seen, or of the
// throttle at rest where the pedal is not told.
type foot struct{ pedal, throttle least }

const (
	pedalPlay    = 2.0  // points above the least still called off
	throttlePlay = 12.0 // more: where idle control works through the throttle, a gear opens it by some points
	footLasts    = 4 * time.Second
)

// least is the least value seen, slowly forgotten upwards.
type least struct {
	value float64
	known bool
}

// leastPace is how much is forgotten a reading, in points: a rest that crept up is learned within minutes.
const leastPace = 0.005

func (l *least) add(v float64) {
	if !l.known || v < l.value {
		l.value, l.known = v, true
		return
	}
	l.value = min(l.value+leastPace, v)
}

// off reports whether the foot is off the pedal; with neither value known, the engine's speed must do.
func (f *foot) off(s *signals, now moment) bool {
	const idle = 1300 // rpm, the fastest idle of a warm engine; common practice, no source
	switch {
	case s.pedal.fresh(now, footLasts):
		return s.pedal.value <= f.pedal.value+pedalPlay
	case s.throttle.fresh(now, footLasts) && f.throttle.known:
		return s.throttle.value <= f.throttle.value+throttlePlay
	}
	return s.rpm.value < idle
}
