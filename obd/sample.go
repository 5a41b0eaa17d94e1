package obd

import "time"

// Unit is the unit of a reading, written as a technician reads it.
type Unit string

// Reading is one decoded value. Service and ID say what it is; Part tells apart the values of one answer:
// for service 01 and 02 the place within the PID (0 is the first), for service 06 the test id.
type Reading struct {
	Module  Module
	Service Service
	ID      byte // PID, or on-board monitor id
	Part    byte
	Value   float64
	Unit    Unit
}

// Sample is what one exchange told: readings that arrived together, with the times the request went out
// and the answer was complete. Readings belong to whoever made the sample and are good until it makes the
// next; Clone what is to be kept.
type Sample struct {
	Sent, Received time.Time
	Readings       []Reading
}

// Clone is a copy that may be kept.
func (s *Sample) Clone() Sample {
	c := *s
	c.Readings = append([]Reading(nil), s.Readings...)
	return c
}

// Exchange is one request to the adapter and everything that came back, with both times. The byte slices
// are good until the adapter's next exchange.
type Exchange struct {
	Sent, Received time.Time
	Request        []byte // without the carriage return
	Answer         []byte // raw, the prompt left off
	Err            error  // what the dialogue made of it, if not an answer
}
