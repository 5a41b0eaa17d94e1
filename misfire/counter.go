package misfire

import (
	"stumble/obd"
)

const (
	counterIsFull   = 65535
	baselineSettles = 1.0 // seconds of running before a counter is believed after a start
	// silentAfter is how long, in seconds of running, a counter may go unread before it is given up: on the
	// slowest link a round of twelve cylinders takes a third of it.
	silentAfter = 30.0
)

// lane follows the counter of one cylinder.
type lane struct {
	reported  bool // the car has this counter
	based     bool // value is of this driving cycle, so that a rise is a miss
	saturated bool // stopped at its highest value
	value     int
	read      place   // where it was last read
	ran       float64 // seconds of known running by then
	from      place   // where counting began
}

// rise is misses that a counter showed at one reading: the refresh that brought them lies between the
// reading before and this one.
type rise struct {
	cylinder int // index, 0 is cylinder 1
	misses   int
	lo, hi   place
	full     bool // the counter reached its end: there may have been more
}

// fell reports whether a value is lower than the one before: the counter was set back, as at the start of a
// driving cycle.
func (l *lane) fell(value int) bool { return l.based && value < l.value }

// add takes a value that did not fall, read at p; settled tells that the engine has run a little since its
// start. It is true for a rise.
func (l *lane) add(value int, p place, settled bool) (r rise, rose bool) {
	before, lo := l.value, l.read
	l.value, l.read = value, p
	if !l.based {
		// From key-on until the engine starts the counter can still show the last driving cycle (SAE J1979;
		// vehicle makers' service manuals): only a running engine gives a baseline.
		if settled {
			l.based, l.from, l.saturated = true, p, value == counterIsFull
		}
		return rise{}, false
	}
	if value == before {
		return rise{}, false
	}
	l.saturated = value == counterIsFull
	return rise{misses: value - before, lo: lo, hi: p, full: l.saturated}, true
}

// unbase forgets the baseline: the counter is about to begin a new driving cycle, or has not been heard of
// for too long.
func (l *lane) unbase() { l.based, l.saturated = false, false }

// countReading tells the monitor position (0 is A2) of a reading of service 06, or false when it is no
// cylinder's count or average.
func countReading(r *obd.Reading) (position int, ok bool) {
	if r.Service != obd.TestResults || r.ID < obd.MIDCylinder1 || r.ID > obd.MIDLastCylinder {
		return 0, false
	}
	return int(r.ID - obd.MIDCylinder1), r.Part == obd.TIDCount || r.Part == obd.TIDAverage
}
