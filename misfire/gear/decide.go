package gear

import (
	"time"

	"stumble/misfire/gear/lever"
	"stumble/misfire/track"
)

// Confidence of what is not inferred. Our own scale.
const (
	plain    = 0.97 // said outright
	implied  = 0.8  // follows from what was said, with one thing unsaid
	disputed = 0.6  // speed and report disagree
)

// ruling is a Call before its time is made one for outsiders.
type ruling struct {
	state      State
	number     int
	origin     Origin
	confidence float64
	since      moment
	reason     Reason
	inferred   bool // at rest, by the bank, whose word on it may change
}

func (r ruling) in(zone time.Time) Call {
	return Call{State: r.state, Number: r.number, Origin: r.origin, Confidence: r.confidence, Since: r.since.in(zone),
		Reason: r.reason}
}

func (j *Judge) decide(now moment) ruling {
	switch {
	case j.moves(now):
		return j.underWay()
	case j.report.state != Unknown:
		return j.reported()
	case j.mark.state != Unknown && j.markFits():
		return ruling{state: j.mark.state, origin: Marked, confidence: plain, since: later(j.mark.at, j.motion.since)}
	case j.resting(now):
		return j.inferred(now)
	}
	return ruling{since: momentOf(j.now.RPM.At), reason: NoData}
}

// resting reports whether the engine runs at rest, and that is known.
func (j *Judge) resting(now moment) bool {
	return j.stands(now) && j.now.Running && now.Sub(momentOf(j.now.RPM.At)) <= track.Hole
}

// inferred is the call of the bank.
func (j *Judge) inferred(now moment) ruling {
	r := ruling{since: j.motion.since, reason: Unsure, inferred: true}
	if s, known := j.last(); known && !j.bank.Wavers() {
		c := j.callOf(&s)
		r.state, r.origin, r.confidence, r.reason = c.State, c.Origin, c.Confidence, c.Reason
		r.since = min(later(j.momentAt(s.From), j.motion.since), now)
	}
	return r
}

// last is what the bank says of now, from when it says so.
func (j *Judge) last() (lever.Span, bool) {
	spans := j.bank.Spans()
	if len(spans) == 0 || !j.bank.Resting() {
		return lever.Span{}, false
	}
	n := len(spans) - 1
	last := spans[n]
	for ; n > 0 && spans[n-1].To == spans[n].From && spans[n-1].Same(&last); n-- {
		last.From = spans[n-1].From
	}
	return last, true
}

// callOf is a span of the bank as a call.
func (j *Judge) callOf(s *lever.Span) Call {
	c := Call{Origin: Inferred, Confidence: s.Sure}
	switch s.State {
	case lever.Free:
		c.State = ParkNeutral
	case lever.InGear:
		c.State = InGear
	default:
		return Call{Reason: reasons[s.Reason]}
	}
	if s.Told {
		c.Origin, c.State = Marked, j.asked(s.From, c.State)
	}
	return c
}

var reasons = [...]Reason{
	lever.NoReason: Unsure, lever.Unsure: Unsure, lever.Loaded: HigherIdle, lever.Hidden: IdlesFree,
}

// asked is the state that the last prompt before a time asked for.
func (j *Judge) asked(from float64, otherwise State) State {
	for i := len(j.prompts) - 1; i >= 0; i-- {
		if j.prompts[i].at <= j.momentAt(from) {
			return j.prompts[i].state
		}
	}
	return otherwise
}

func (j *Judge) momentAt(sec float64) moment {
	return momentOf(j.ticker.start).Add(time.Duration(sec * float64(time.Second)))
}

// underWay is the call for a car that moves.
func (j *Judge) underWay() ruling {
	call := ruling{state: Moving, origin: Inferred, confidence: plain, since: j.motion.since}
	switch {
	case j.mark.state == Reverse && j.markFits():
		return ruling{state: Reverse, origin: Marked, confidence: plain, since: j.mark.at}
	case j.report.state == ParkNeutral:
		call.confidence = disputed // coasting in neutral, or a report that does not follow the lever
	case j.report.state == Drive:
		call.origin, call.number = Reported, j.report.number
	case j.mark.state == Moving:
		call.origin = Marked
	}
	if call.number == 0 && j.report.state != ParkNeutral {
		call.number = j.ratios.number
	}
	return call
}

// reported is the call for a car at rest that reports its gear.
func (j *Judge) reported() ruling {
	call := ruling{
		state: j.report.state, number: j.report.number,
		origin: Reported, confidence: plain,
		since: later(j.report.since, j.motion.since),
	}
	if call.state != Drive {
		return call
	}
	switch {
	case j.mark.state == Reverse && j.markFits():
		return ruling{state: Reverse, origin: Marked, confidence: plain, since: later(j.mark.at, j.motion.since)}
	case j.mark.state != Drive:
		call.confidence = implied // may be reverse
	}
	return call
}

func later(a, b moment) moment {
	if b.After(a) {
		return b
	}
	return a
}
