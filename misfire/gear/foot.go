package gear

import "time"

// foot tells whether the driver's foot is off the pedal, from the least value seen of the pedal, or of the
// throttle where the pedal is not told.
type foot struct{ pedal, throttle rest }

const (
	pedalPlay    = 2.0 // points above rest still called off
	throttlePlay = 4.0 // more, because idle control moves the throttle as well
	footLasts    = 4 * time.Second
)

// rest is the least value seen, slowly forgotten upwards: at key-on a throttle may stand lower than at any idle.
type rest struct {
	least float64
	known bool
}

const restPace = 0.005 // points a reading

func (r *rest) add(v float64) {
	if !r.known || v < r.least {
		r.least, r.known = v, true
		return
	}
	r.least = min(r.least+restPace, v)
}

// off reports whether the foot is off the pedal; with neither value known, the engine's speed must do.
func (f *foot) off(s *signals, now time.Time) bool {
	const idle = 1300 // rpm, the fastest idle of a warm engine; common practice, no source
	switch {
	case s.pedal.fresh(now, footLasts):
		return s.pedal.value <= f.pedal.least+pedalPlay
	case s.throttle.fresh(now, footLasts):
		return s.throttle.value <= f.throttle.least+throttlePlay
	}
	return s.rpm.value < idle
}
