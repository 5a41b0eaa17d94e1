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

// lane follows the counter of one cylinder. One reading proves nothing: a rise counts once the next reading confirms it, and
// a rise above the firings that ran is set aside.
type lane struct {
	reported  bool // the car has this counter
	based     bool // value is of this driving cycle, so that a rise is a miss
	saturated bool // stopped at its highest value
	value     int
	read      place   // where it was last read, as far as what it showed is sure
	ran       float64 // seconds of known running by then
	from      place   // where counting began

	bank    float64 // firings that ran, or may have run unseen, up to the last accepted rise
	held    rise    // seen once; misses is 0 while there is none
	heldRan float64 // firings that ran up to it
	falls   streak  // readings on end that are lower than the one accepted
	strange streak  // readings on end that rose by more than ran
	aside   int     // readings set aside in all
}

// streak is readings on end that agree: none is lower than the one before it.
type streak struct{ length, newest int }

// add takes the next, and gives how many agree by now.
func (s *streak) add(value int) int {
	if value < s.newest {
		s.length = 0
	}
	s.length, s.newest = s.length+1, value
	return s.length
}

// rise is misses that a counter showed at one reading: the refresh that brought them lies between the
// reading before and this one.
type rise struct {
	cylinder int // index, 0 is cylinder 1
	misses   int
	lo, hi   place
	full     bool // the counter reached its end: there may have been more
}

// What a reading made of a lane.
type reading uint8

const (
	nothingNew reading = iota
	rose               // the rise that was held is confirmed
	restarted          // the counter began anew unseen
)

const (
	// bankShare and bankSlack are how much more than the firings that ran a counter may rise: speed is not known better.
	bankShare = 1.05
	bankSlack = 2.0
	// fallsToRestart and strangeToRebase are how many readings on end must agree that a counter began anew, or is elsewhere
	// than it was believed.
	fallsToRestart  = 2
	strangeToRebase = 3
)

// add takes a value read at p; ran is the firings so far of which the cylinder may have missed some, and settled tells that
// the engine has run a little since its start. A confirmed rise is the one that was held before.
func (l *lane) add(value int, p place, ran float64, settled bool) (r rise, is reading) {
	switch {
	case !l.based:
		l.value, l.read = value, p
		// From key-on until the engine starts the counter can still show the last driving cycle (SAE J1979;
		// vehicle makers' service manuals): only a running engine gives a baseline.
		if settled {
			l.based, l.from, l.saturated, l.bank = true, p, value == counterIsFull, ran
		}
		return rise{}, nothingNew
	case value < l.value:
		return l.fall(value)
	case value == l.value:
		l.doubt()
		l.read = p
		return rise{}, nothingNew
	case float64(value-l.value) > bankShare*(ran-l.bank)+bankSlack:
		return l.wonder(value)
	}
	l.falls, l.strange = streak{}, streak{}
	if l.held.misses > 0 && value >= l.value+l.held.misses {
		r, is = l.confirm(), rose
		if value == l.value { // no more than was held
			l.read = p
			return r, is
		}
	}
	l.hold(value, p, ran)
	return r, is
}

// hold keeps a rise until the next reading.
func (l *lane) hold(value int, p place, ran float64) {
	if l.held.misses > 0 {
		l.aside++ // what was held before was too high
	}
	l.held = rise{misses: value - l.value, lo: l.read, hi: p, full: value == counterIsFull}
	l.heldRan = ran
}

// confirm accepts the rise that is held.
func (l *lane) confirm() rise {
	r := l.held
	l.value, l.read, l.bank, l.saturated = l.value+r.misses, r.hi, l.heldRan, r.full
	l.held = rise{}
	return r
}

// doubt drops a rise that the next reading did not confirm.
func (l *lane) doubt() {
	if l.held.misses > 0 {
		l.aside++
		l.held = rise{}
	}
	l.falls, l.strange = streak{}, streak{}
}

// fall takes a value lower than the one accepted: a spoiled one, or the counter began anew.
func (l *lane) fall(value int) (rise, reading) {
	if l.falls.add(value) >= fallsToRestart {
		l.falls = streak{}
		return rise{}, restarted
	}
	l.aside++
	return rise{}, nothingNew
}

// wonder takes a value that rose by more than ran: a spoiled one, or the one that was accepted was.
func (l *lane) wonder(value int) (rise, reading) {
	l.aside++
	if l.strange.add(value) >= strangeToRebase {
		l.strange = streak{}
		return rise{}, restarted
	}
	return rise{}, nothingNew
}

// dropBaseline forgets the baseline: the counter is about to begin a new driving cycle, or has not been heard of
// for too long.
func (l *lane) dropBaseline() {
	l.based, l.saturated, l.held, l.falls, l.strange = false, false, rise{}, streak{}, streak{}
}

// countReading tells the monitor position (0 is A2) of a reading of service 06 or of a code's record, or false when it is
// no cylinder's count or average.
func countReading(r *obd.Reading) (position int, ok bool) {
	if (r.Service == obd.CodeData || r.Service == obd.LocalData) && r.ID >= obd.MIDCylinder1 && r.ID <= obd.MIDLastCylinder {
		return int(r.ID - obd.MIDCylinder1), true
	}
	if r.Service != obd.TestResults || r.ID < obd.MIDCylinder1 || r.ID > obd.MIDLastCylinder {
		return 0, false
	}
	return int(r.ID - obd.MIDCylinder1), r.Part == obd.TIDCount || r.Part == obd.TIDAverage
}
