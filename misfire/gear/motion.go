package gear

import (
	"stumble/misfire/track"
	"time"
)

// Speeds are whole km/h, and wheel sensors lose the wheel below about 2 km/h (common practice, no source): from
// 1 to 3 the car may creep or stand, and what was so before stays so.
const (
	rolls     = 3.0                    // km/h; above it the car moves
	rollsFor  = 600 * time.Millisecond // for so long, before it is believed
	standsFor = 600 * time.Millisecond // at 0 for so long
	backsUpTo = 20.0                   // km/h; faster is no reverse
)

// turn is a change of something that goes on or does not.
type turn uint8

const (
	same turn = iota
	started
	ceased
)

// motion tells moving from standing.
type motion struct {
	known    bool
	moving   bool
	since    moment // when moving or standing began
	above    moment // first reading above rolls of an unbroken run; zero when none
	nonzero  moment // first reading above zero of an unbroken run
	zero     moment // first reading of zero of an unbroken run
	lastSeen moment
}

// add takes a speed in km/h and reports whether the car began to move, or came to rest after moving.
func (m *motion) add(speed float64, at moment) turn {
	if at.Sub(m.lastSeen) > track.SpeedLasts {
		*m = motion{}
	}
	m.lastSeen = at
	first := func(t *moment, holds bool) {
		switch {
		case !holds:
			*t = 0
		case t.IsZero():
			*t = at
		}
	}
	first(&m.above, speed > rolls)
	first(&m.nonzero, speed > 0)
	first(&m.zero, speed == 0)
	switch {
	case !m.above.IsZero() && at.Sub(m.above) >= rollsFor && !(m.known && m.moving):
		m.known, m.moving, m.since = true, true, m.nonzero
		return started
	case !m.zero.IsZero() && at.Sub(m.zero) >= standsFor && (!m.known || m.moving):
		moved := m.moving
		m.known, m.moving, m.since = true, false, m.zero
		if moved {
			return ceased
		}
	}
	return same
}
