package gear

import (
	"time"

	"stumble/misfire/track"
	"stumble/obd"
)

// reportLasts is how long a report of the gear speaks for the car: a lever may be asked less often than the engine's
// speed.
const reportLasts = 5 * time.Second

// signals are the readings that gear states are judged from.
type signals struct {
	track.State
	volts    track.Value // PID 42
	selector track.Value // PID 65: 1 for drive or reverse, 0 for park or neutral
	manual   track.Value // PID 65: 1 for in gear, 0 for neutral or clutch in
	number   track.Value // PID A4: gear, 0 for neutral

	selects, shifts, counts obd.Module // who told the last three
}

func newSignals() signals { return signals{State: track.New()} }

// take takes a reading and tells what it changed of what track follows.
func (s *signals) take(r *obd.Reading, at time.Time) track.Event {
	if seen := s.State.Take(r, at); seen != 0 || r.Service != obd.LiveData {
		return seen
	}
	switch {
	case r.ID == obd.PIDVoltage && s.OfEngine(r):
		s.volts = track.Value{V: r.Value, At: at}
	case r.ID == obd.PIDAuxiliary && r.Part == obd.PartDriveSelector:
		keep(&s.selector, &s.selects, r, at)
	case r.ID == obd.PIDAuxiliary && r.Part == obd.PartManualGear:
		keep(&s.manual, &s.shifts, r, at)
	case r.ID == obd.PIDGear && r.Part == obd.PartGearNumber:
		keep(&s.number, &s.counts, r, at)
	}
	return 0
}

// keep keeps to the module that told a value first while it goes on telling it.
func keep(v *track.Value, module *obd.Module, r *obd.Reading, at time.Time) {
	if r.Module != *module && v.Fresh(at, track.Hole) {
		return
	}
	*v, *module = track.Value{V: r.Value, At: at}, r.Module
}

// fresh is a value, NaN when it is older than that.
func fresh(v *track.Value, now time.Time, within time.Duration) float64 {
	if v.Fresh(now, within) {
		return v.V
	}
	return track.Unknown().V
}
