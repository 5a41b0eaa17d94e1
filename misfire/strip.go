package misfire

import (
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
)

// Moment is one second of a drive as the strip shows it.
type Moment struct {
	At          time.Time // when the second began
	Gear        gear.State
	Origin      gear.Origin
	RPM, Load   float64 // mean of the second; NaN when nothing was read
	Unmonitored bool    // the controller may not have judged most of it
	// Misses is what each cylinder's counter rose by at its reading in this second (index 0 is cylinder 1).
	// The misses themselves happened since the refresh before.
	Misses [engine.MaxCylinders]uint16
}
