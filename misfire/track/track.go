// Package track follows the samples of a drive: the latest value of each quantity and how old it is, which module is
// the engine's, and whether the engine runs. Whoever needs one of these takes it from here, so that every part of the
// program believes the same reading and draws the same lines. It is pure: time comes with the samples.
package track

import (
	"math"
	"time"

	"stumble/obd"
)

// Lines that are drawn in more than one place, each with its source.
const (
	// RunningRPM is the engine speed from which it runs by itself: cranking is slower, idle faster. 13 CCR 1968.2 (c)
	// has the start at 150 rpm below warm idle, from memory, which few cars have under 550; a starter turns an engine at
	// 150 to 300 (common practice, no source).
	RunningRPM = 400
	// StallRPM is the speed under which it has stopped.
	StallRPM = 100
	// WarmAt is the coolant temperature, in degrees Celsius, that parts cold from warm running: the end of a warm-up
	// cycle (UN R83 Annex 11, from memory; the US rule has 71 degrees).
	WarmAt = 70
	// IdleTo is the fastest warm idle, in rpm (common practice, no source).
	IdleTo = 1200
	// FastIdleTo is the fastest idle of a cold engine, in rpm; above it somebody is on the pedal (common practice, no
	// source).
	FastIdleTo = 1500
	// Hole is the longest time between two readings that is still bridged; what ran in a longer one nobody knows.
	Hole = 2 * time.Second
	// SpeedLasts is how long a road speed speaks for the car: it may be asked less often than the engine's.
	SpeedLasts = 4 * time.Second
)

// stopsAfter is how long, and over how many readings, an engine must stand to have stopped: one spoiled reading of 0
// begins no driving cycle.
const (
	stopsAfter    = time.Second
	stopsReadings = 2
)

// Value is the latest reading of one quantity.
type Value struct {
	V  float64 // NaN before the first
	At time.Time
}

// Unknown is a quantity that was never told.
func Unknown() Value { return Value{V: math.NaN()} }

// Known reports whether it was ever told.
func (v *Value) Known() bool { return !v.At.IsZero() }

// Fresh reports whether it was told within a while before now.
func (v *Value) Fresh(now time.Time, within time.Duration) bool {
	return v.Known() && now.Sub(v.At) <= within
}

// Event is what a reading changed; several may come at once.
type Event uint8

// Events.
const (
	Told    Event = 1 << iota // a quantity that is followed has a new value
	Turned                    // of them, the engine speed
	Started                   // the engine began to run
	Stopped                   // the engine has stopped
)

// State is what is known of the car now. Of what the engine does, only the engine's own module is believed: the one
// with the lowest address that tells an engine speed; transmissions and the like pass it on, late. A road speed is
// believed of the module that told it last while that speaks on.
type State struct {
	RPM, Load, Speed, Throttle, Pedal, Coolant Value

	Fuel    Value // obd.FuelSystem of the first fuel system
	Before  Value // the engine speed before RPM
	Running bool

	engine, wheels obd.Module
	found          bool // the engine's module is known
	stalled        time.Time
	stalls         int // readings on end below StallRPM
}

// New is a State of which nothing is known.
func New() State {
	return State{RPM: Unknown(), Load: Unknown(), Speed: Unknown(), Throttle: Unknown(), Pedal: Unknown(),
		Coolant: Unknown(), Fuel: Unknown(), Before: Unknown()}
}

// Instant is the time that the readings of a sample are taken to be of: midway between question and answer.
func Instant(s *obd.Sample) time.Time { return s.Sent.Add(s.Received.Sub(s.Sent) / 2) }

// Engine is the engine's module; false while none has told an engine speed.
func (s *State) Engine() (obd.Module, bool) { return s.engine, s.found }

// StoodSince is when the engine was first read to stand, of one that has stopped.
func (s *State) StoodSince() time.Time { return s.stalled }

// Warm reports whether the coolant is known to be warm.
func (s *State) Warm() bool { return s.Coolant.V >= WarmAt }

// OfEngine reports whether what a reading says of the engine is believed.
func (s *State) OfEngine(r *obd.Reading) bool { return !s.found || r.Module == s.engine }

// Take takes a reading and tells what it changed; 0 for one that is not followed, or not believed.
func (s *State) Take(r *obd.Reading, at time.Time) Event {
	if r.Service != obd.LiveData || math.IsNaN(r.Value) {
		return 0
	}
	if r.ID == obd.PIDRPM {
		return s.takeRPM(r, at)
	}
	v := s.of(r)
	if v == nil || !s.believes(r, at) {
		return 0
	}
	v.V, v.At = r.Value, at
	return Told
}

// of is where a reading is kept; nil where it is not followed.
func (s *State) of(r *obd.Reading) *Value {
	switch r.ID {
	case obd.PIDLoad:
		return &s.Load
	case obd.PIDSpeed:
		return &s.Speed
	case obd.PIDThrottle:
		return &s.Throttle
	case obd.PIDAccelerator:
		return &s.Pedal
	case obd.PIDCoolant:
		return &s.Coolant
	case obd.PIDFuelSystem:
		if r.Part == obd.PartFuelSystem1 {
			return &s.Fuel
		}
	}
	return nil
}

func (s *State) believes(r *obd.Reading, at time.Time) bool {
	if r.ID != obd.PIDSpeed {
		return s.OfEngine(r)
	}
	if s.wheels != r.Module && s.Speed.Fresh(at, Hole) {
		return false // two modules may tell the same speed a moment apart: taking turns would look like noise
	}
	s.wheels = r.Module
	return true
}

func (s *State) takeRPM(r *obd.Reading, at time.Time) Event {
	if !s.found || r.Module.ID < s.engine.ID {
		s.engine, s.found = r.Module, true
	}
	if r.Module != s.engine {
		return 0
	}
	s.Before = s.RPM
	s.RPM = Value{r.Value, at}
	return Told | Turned | s.turn(at)
}

// turn follows whether the engine runs.
func (s *State) turn(at time.Time) (seen Event) {
	if s.Running && s.stalls > 0 && s.Before.Known() && at.Sub(s.Before.At) > Hole {
		s.Running, seen = false, Stopped // what stood before a hole stood in it
	}
	switch {
	case s.RPM.V >= StallRPM:
		s.stalls = 0
	case s.stalls == 0:
		s.stalls, s.stalled = 1, at
	default:
		s.stalls++
	}
	switch {
	case !s.Running && s.RPM.V >= RunningRPM:
		s.Running = true
		return seen | Started
	case s.Running && s.stalls >= stopsReadings && at.Sub(s.stalled) >= stopsAfter:
		s.Running = false
		return seen | Stopped
	}
	return seen
}
