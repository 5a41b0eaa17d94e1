package gear

import "time"

// report is what the car itself says of its gear.
type report struct {
	state  State  // ParkNeutral, Drive for any gear, or Unknown when nothing is reported
	since  moment // when the car was first seen to say so
	number int    // gear, 0 when not told
}

// read takes the reports that are fresh. The drive selector goes first: some boxes report first gear in park.
func (r *report) read(s *signals, sent, now time.Time) {
	state := Unknown
	r.number = 0
	number := s.number.Fresh(now, reportLasts)
	switch {
	case s.selector.Fresh(now, reportLasts):
		state = engaged(s.selector.V)
	case number:
		state = engaged(s.number.V)
	case s.manual.Fresh(now, reportLasts):
		state = engaged(s.manual.V)
	}
	if number && state == Drive {
		r.number = int(s.number.V)
	}
	if state != r.state {
		r.state, r.since = state, momentOf(sent)
	}
}

func engaged(value float64) State {
	if value == 0 {
		return ParkNeutral
	}
	return Drive
}
