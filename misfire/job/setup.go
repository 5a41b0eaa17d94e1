package job

import (
	"encoding/json"
	"fmt"
	"math"

	"stumble/misfire/cause"
	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/obd/counters"
)

// Setup is what must be known of a drive beside what the journal keeps by itself.
type Setup struct {
	VIN      string `json:"vin"`
	Title    string `json:"title"`              // what the car is called
	CoilEach bool   `json:"coil_each"`          // a coil on every plug
	Ignition string `json:"ignition,omitempty"` // as cause.ParseIgnition reads it; empty where it is not known
	// Gearbox is what the user told of it, as gear.ParseBox reads it; empty where it was not told.
	Gearbox string `json:"gearbox,omitempty"`
	// NoHeaders tells that the adapter prints frames without their headers, which decoding them anew must know.
	NoHeaders bool `json:"no_headers,omitempty"`
	// Unread is how many misfire monitors the car listed that it did not answer for when the drive began.
	Unread int `json:"unread,omitempty"`
	// Counters is the user's own table of the maker's counters by which the drive was counted, as package counters reads it.
	Counters string `json:"counters,omitempty"`
}

// Table returns the user's table of counters, nil where there is none that can be read.
func (s *Setup) Table() counters.Table {
	if s.Counters == "" {
		return nil
	}
	t, err := counters.Parse(s.Counters)
	if err != nil {
		return nil
	}
	return t
}

// SetupOf returns what was kept of a drive. A drive of another program may have left nothing. The error is a set-up
// that cannot be read.
func SetupOf(d *journal.Drive) (s Setup, err error) {
	s.VIN, s.Title = d.Vehicle.VIN, d.Vehicle.Name
	if len(d.Setup) > 0 {
		if err := json.Unmarshal(d.Setup, &s); err != nil {
			return s, fmt.Errorf("the set-up of drive %d cannot be read: %w", d.ID, err)
		}
	}
	return s, nil
}

// Coils returns how the coils are laid out, as far as it was known.
func (s *Setup) Coils() cause.Ignition {
	i, err := cause.ParseIgnition(s.Ignition)
	switch {
	case err == nil && i != cause.IgnitionUnknown:
		return i
	case s.CoilEach:
		return cause.CoilOnPlug
	}
	return cause.IgnitionUnknown
}

// Box returns the gearbox, gear.NotTold where it is not known.
func (s *Setup) Box() gear.Box {
	b, err := gear.ParseBox(s.Gearbox)
	if err != nil {
		return gear.NotTold
	}
	return b
}

// unknown is a number that nobody knows.
func unknown() float64 { return math.NaN() }
