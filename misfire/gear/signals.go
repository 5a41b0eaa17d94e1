package gear

import (
	"time"

	"stumble/obd"
)

// How long a reading speaks for the car after it came. Beyond gap, nothing is known of the running between.
const (
	gap         = 2 * time.Second
	reportLasts = 5 * time.Second // a lever may be asked less often than the engine's speed
)

// signal is the latest value of one reading. It keeps to the module it came from: two modules may report the
// same speed a moment apart, and taking turns would look like noise.
type signal struct {
	value  float64
	at     moment
	module obd.Module
}

func (s *signal) take(r *obd.Reading, at moment) bool {
	if r.Module != s.module && s.fresh(at, gap) {
		return false
	}
	s.value, s.at, s.module = r.Value, at, r.Module
	return true
}

// fresh reports whether a value came within a while before now.
func (s *signal) fresh(now moment, within time.Duration) bool {
	return !s.at.IsZero() && now.Sub(s.at) <= within
}

// signals are the readings that gear states are judged from.
type signals struct {
	rpm      signal // PID 0C
	load     signal // PID 04, calculated load, per cent
	speed    signal // PID 0D, km/h
	throttle signal // PID 11, per cent
	pedal    signal // PID 49, per cent
	selector signal // PID 65: 1 for drive or reverse, 0 for park or neutral
	manual   signal // PID 65: 1 for in gear, 0 for neutral or clutch in
	number   signal // PID A4: gear, 0 for neutral
}

// take stores a reading and returns where; nil when it says nothing new of the gear.
func (s *signals) take(r *obd.Reading, at moment) *signal {
	if r.Service != obd.LiveData {
		return nil
	}
	to := s.of(r)
	if to == nil || !to.take(r, at) {
		return nil
	}
	return to
}

// of is where a reading is kept; nil when it says nothing of the gear.
func (s *signals) of(r *obd.Reading) *signal {
	switch r.ID {
	case obd.PIDRPM:
		return &s.rpm
	case obd.PIDLoad:
		return &s.load
	case obd.PIDSpeed:
		return &s.speed
	case obd.PIDThrottle:
		return &s.throttle
	case obd.PIDAccelerator:
		return &s.pedal
	case obd.PIDAuxiliary:
		switch r.Part {
		case obd.PartDriveSelector:
			return &s.selector
		case obd.PartManualGear:
			return &s.manual
		}
	case obd.PIDGear:
		if r.Part == obd.PartGearNumber {
			return &s.number
		}
	}
	return nil
}
