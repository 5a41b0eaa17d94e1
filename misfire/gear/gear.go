// Package gear judges which gear state a car is in, and who says so: the car itself, the driver's mark, or
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
	InGear            // at rest in drive or reverse: the load of the box is seen, and is the same in both
)

// States is how many there are, Unknown among them.
const States = int(InGear) + 1

// trait is what there is to say of a state. Who adds one adds a row here and to order; the words and paint of views
// stand in tables indexed by State.
type trait struct {
	name   string
	loaded bool // the box loads the engine at rest
}

var traits = [States]trait{
	Unknown:     {name: "?"},
	ParkNeutral: {name: "P/N"},
	Drive:       {name: "D", loaded: true},
	Reverse:     {name: "R", loaded: true},
	Moving:      {name: "moving"},
	InGear:      {name: "D/R", loaded: true},
}

var order = [States]State{ParkNeutral, Drive, Reverse, InGear, Moving, Unknown}

// Order are all states in the order in which they are told, Unknown last.
func Order() [States]State { return order }

// Known are those of Order that say something.
func Known() [States - 1]State { return [States - 1]State(order[:States-1]) }

// String is "?", "P/N", "D", "R", "moving" or "D/R".
func (s State) String() string {
	if int(s) < States {
		return traits[s].name
	}
	return traits[Unknown].name
}

// Loaded reports whether the car stands with a gear in that loads the engine.
func (s State) Loaded() bool { return int(s) < States && traits[s].loaded }

// MarshalText writes the state as String does.
func (s State) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Origin is who says which state it is, weakest first.
type Origin uint8

const (
	None     Origin = iota
	Inferred        // from road speed and the steps of the load
	Marked          // by the driver or helper, or by what a guided test asked for
	Reported        // by the car: PID 65 or A4
)

// origins are their names.
var origins = [...]string{None: "none", Inferred: "inferred", Marked: "marked", Reported: "reported"}

// Origins is how many there are, None among them.
const Origins = len(origins)

// String is "none", "inferred", "marked" or "reported".
func (o Origin) String() string {
	if int(o) < Origins {
		return origins[o]
	}
	return origins[None]
}

// MarshalText writes the origin as String does.
func (o Origin) MarshalText() ([]byte, error) { return []byte(o.String()), nil }

// Reason is why a car at rest is in no known state.
type Reason uint8

const (
	NoReason   Reason = iota
	NoData            // no engine speed, or no road speed
	Unsure            // what was seen fits both park and a gear
	HigherIdle        // more load than at the start of a car that has not moved: in gear, or an accessory
	IdlesFree         // the box shows nothing at rest, or lets go by itself: park or gear, the engine runs free
)

// Call is one judgement. Origin is that of the State; the Number may be counted from revolutions per distance
// where the car does not report it.
type Call struct {
	State      State
	Number     int       // forward gear, 1 the lowest; 0 when not known
	Origin     Origin    //
	Confidence float64   // 0 to 1 that State is right; our own scale, not measured on real cars
	Since      time.Time // when the state began; may lie before the sample that showed it
	Reason     Reason    // why State is Unknown
}

// same reports whether two calls say the same thing, however surely.
func (c Call) same(d Call) bool {
	return c.State == d.State && c.Number == d.Number && c.Origin == d.Origin && c.Reason == d.Reason
}

// Span is a stretch of a drive and what is said of it now, which later evidence may change.
type Span struct {
	From time.Time
	Call Call
	// Stir marks the moments beside a change, a start or a blip of the pedal, in an inferred state: what was missed
	// in them belongs to no state.
	Stir bool
}
