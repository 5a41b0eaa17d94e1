package gear

import "time"

// markYields is how long a contradiction must last before a mark is withdrawn: a key is pressed a moment
// before or after the lever moves.
const markYields = 3 * time.Second

// mark is the state that the driver marked.
type mark struct {
	state   State // Unknown when there is none
	at      moment
	against moment // since when it is contradicted; zero when it is not
}

// check withdraws the mark when it has been contradicted for long enough.
func (m *mark) check(contradicted bool, now moment) {
	switch {
	case !contradicted:
		m.against = 0
	case m.against.IsZero():
		m.against = now
	case now.Sub(m.against) >= markYields:
		*m = mark{}
	}
}

// fits reports whether the mark agrees with what is known otherwise.
func (m *mark) fits(moving bool, speed float64, reported State) bool {
	switch {
	case m.state == ParkNeutral:
		return !moving && reported != Drive
	case m.state == Moving:
		return moving
	case m.state == Reverse && moving && speed > backsUpTo:
		return false
	}
	return reported != ParkNeutral
}
