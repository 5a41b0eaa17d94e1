package misfire

import (
	"stumble/obd"
)

// Service 06 numbering of the misfire monitors (SAE J1979-DA, appendix D).
const (
	monitorGeneral  = 0xA1 // the engine as a whole
	monitorFirst    = 0xA2 // cylinder 1; A3 cylinder 2 and so on
	testAverage     = 0x0B // average of the last ten driving cycles
	testCount       = 0x0C // this driving cycle
	counterIsFull   = 65535
	baselineSettles = 1.0 // seconds of running before a counter is believed after a start
)

// lane follows the counter of one cylinder.
type lane struct {
	reported  bool // the car has this counter
	based     bool // value is of this driving cycle, so that a rise is a miss
	saturated bool // stopped at its highest value
	value     int
	read      place // where it was last read
	from      place // where counting began
	average   gauge // test 0B
}

// rise is misses that a counter showed at one reading: the refresh that brought them lies between the
// reading before and this one.
type rise struct {
	cylinder int // index, 0 is cylinder 1
	misses   int
	lo, hi   place
	full     bool // the counter reached its end: there may have been more
}

// reading is what became of one value of a counter.
type reading uint8

const (
	readingPlain   reading = iota // nothing new
	readingRise                   // misses
	readingRestart                // the counter fell: a new driving cycle
)

// add takes a value read at p, with the engine running for so many seconds.
func (l *lane) add(value int, p place, settled bool) (r rise, what reading) {
	before, lo := l.value, l.read
	l.value, l.read = value, p
	switch {
	case l.saturated && value == counterIsFull:
		return r, readingPlain
	case !l.based:
		// From key-on until the engine starts the counter can still show the last driving cycle (vehicle
		// makers' service manuals): only a running engine gives a baseline.
		if settled {
			l.based, l.from = true, p
			l.saturated = value == counterIsFull
		}
		return r, readingPlain
	case value < before:
		l.based, l.saturated = settled, false
		l.from = p
		return r, readingRestart
	case value == before:
		return r, readingPlain
	}
	l.saturated = value == counterIsFull
	return rise{misses: value - before, lo: lo, hi: p, full: l.saturated}, readingRise
}

// unbase forgets the baseline: the counter is about to begin a new driving cycle.
func (l *lane) unbase() { l.based, l.saturated = false, false }

// countReading tells the monitor position (0 is A2) of a reading of service 06, or false when it is no
// cylinder's count or average.
func countReading(r *obd.Reading) (position int, ok bool) {
	if r.Service != obd.TestResults || r.ID < monitorFirst || r.Part != testCount && r.Part != testAverage {
		return 0, false
	}
	return int(r.ID - monitorFirst), true
}
