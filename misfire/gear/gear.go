// Package gear judges which gear state a car is in, and says who says so: the car itself, the driver's mark, or
// an inference from speed, load and engine speed. It is pure: time comes from the samples alone.
package gear

import "time"

// State is a gear state as the tally tells running apart by.
type State uint8

const (
	Unknown     State = iota
	ParkNeutral       // at rest or rolling free, no load from the gearbox
	Drive             // in a forward gear at rest: the converter loads the engine
	Reverse           // in reverse, at rest or creeping
	Moving            // the car moves
)

// String is "?", "P/N", "D", "R" or "moving".
func (s State) String() string {
	switch s {
	case ParkNeutral:
		return "P/N"
	case Drive:
		return "D"
	case Reverse:
		return "R"
	case Moving:
		return "moving"
	}
	return "?"
}

// MarshalText writes the state as String does.
func (s State) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Origin is who says which state it is, weakest first.
type Origin uint8

const (
	None     Origin = iota
	Inferred        // from speed, load step, dip of engine speed
	Marked          // by the driver or helper
	Reported        // by the car: PID 65 or A4
)

// String is "none", "inferred", "marked" or "reported".
func (o Origin) String() string {
	switch o {
	case Inferred:
		return "inferred"
	case Marked:
		return "marked"
	case Reported:
		return "reported"
	}
	return "none"
}

// MarshalText writes the origin as String does.
func (o Origin) MarshalText() ([]byte, error) { return []byte(o.String()), nil }

// Call is one judgement. Origin is that of the State; the Number may be counted from revolutions per distance
// where the car does not report it.
type Call struct {
	State      State
	Number     int       // forward gear, 1 the lowest; 0 when not known
	Origin     Origin    //
	Confidence float64   // 0 to 1 that State is right; our own scale, not measured on real cars
	Since      time.Time // when the state began; may lie a few seconds before the sample that showed it
}

// same reports whether two calls say the same thing, however surely.
func (c Call) same(d Call) bool {
	return c.State == d.State && c.Number == d.Number && c.Origin == d.Origin
}
