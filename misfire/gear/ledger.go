package gear

import "math"

// ledger remembers loads that came on while the lever could not have caused them, or went off so: a fan or an
// air-conditioning compressor will take its step back. In points of load, 0 when nothing is booked.
type ledger struct{ on, off float64 }

// settles reports whether a step undoes one that is booked, and strikes it out.
func (a *ledger) settles(s step) bool {
	booked := &a.off
	if s.load < 0 {
		booked = &a.on
	}
	if *booked == 0 || !similar(math.Abs(s.load), *booked) {
		return false
	}
	*booked = 0
	return true
}
