package cause

import "fmt"

// Ignition is how spark gets to the plugs: it decides which parts there are to fail.
type Ignition uint8

// Kinds of ignition.
const (
	IgnitionUnknown Ignition = iota
	CoilOnPlug               // a coil on every plug, no wires
	SharedCoils              // one coil to two plugs, by wires
	Distributor              // one coil for all, by wires
)

// ParseIgnition reads a kind as typed: each, shared or distributor; nothing is unknown.
func ParseIgnition(text string) (Ignition, error) {
	for _, i := range [...]Ignition{IgnitionUnknown, CoilOnPlug, SharedCoils, Distributor} {
		if text == i.Key() {
			return i, nil
		}
	}
	return 0, fmt.Errorf("no kind of ignition is called %q: say each (a coil on every plug), shared (one coil to two plugs) or distributor", text)
}

// Key is the kind as ParseIgnition reads it.
func (i Ignition) Key() string {
	switch i {
	case CoilOnPlug:
		return "each"
	case SharedCoils:
		return "shared"
	case Distributor:
		return "distributor"
	}
	return ""
}

// share is how likely an ignition has what a cause needs: all or nothing once it is known. Of cars whose ignition was not
// told more than half have a coil on every plug, and of the rest most share coils; judgement, no source.
func (i Ignition) share(need string) float64 {
	switch {
	case !i.meets(need):
		return 0
	case i != IgnitionUnknown:
		return 1
	}
	switch need {
	case "each":
		return 0.55
	case "wires":
		return 0.45
	case "shared":
		return 0.3
	}
	return 1
}

// meets tells whether an ignition has what a cause or test needs. Where the ignition is not known all may be there.
func (i Ignition) meets(need string) bool {
	switch need {
	case "wires":
		return i != CoilOnPlug
	case "each":
		return i == CoilOnPlug || i == IgnitionUnknown
	case "shared":
		return i == SharedCoils || i == IgnitionUnknown
	case "coils":
		return i != Distributor
	}
	return true
}
