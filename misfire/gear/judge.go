package gear

import (
	"time"

	"stumble/misfire/gear/lever"
	"stumble/misfire/track"
	"stumble/obd"
)

// Judge follows one drive and says at each sample which gear state the car is in. The car's own report beats
// the driver's mark, the mark beats inference. It uses a fixed amount of memory. It is not safe for use by two
// goroutines at once.
//
// Moving is a matter of speed: more than 3 km/h for 0.6 s. Standing is 0 km/h for as long. Reverse at up to
// 20 km/h stays reverse when it was marked.
//
// PID 65 tells park or neutral from drive or reverse, but not drive from reverse. When it says in gear and
// nobody marked reverse, the call is Drive with less confidence.
//
// What neither the car nor anybody says is inferred by package lever: ParkNeutral, or InGear, which may be Drive or
// Reverse. What it says of the past changes as more is seen: Spans is the drive as it is judged now, and Revision tells
// that it changed. A car that never moved, and of which nobody named a gear, is never called in gear.
type Judge struct {
	now      signals
	motion   motion
	ratios   ratios
	report   report
	mark     mark
	prompts  []mark
	ticker   ticker
	bank     *lever.Bank
	timeline timeline
	spans    []Span
	solved   int // revision of the bank
	call     Call
	told     Call // what Add last returned
}

// NewJudge is a judge that knows nothing yet.
func NewJudge() *Judge { return &Judge{now: newSignals(), bank: lever.New(lever.NotTold)} }

// SetBox tells what gearbox the car has; what was said of the past is judged anew.
func (j *Judge) SetBox(b Box) {
	if int(b) < len(boxes) {
		j.bank.SetBox(boxes[b].box)
	}
}

// Call is the present judgement.
func (j *Judge) Call() Call { return j.call }

// Mark takes the state that the driver or helper marked at a time. Unknown withdraws the mark. A mark holds
// until the next one, or until it is contradicted for three seconds on end: by a report of the car, by motion
// after P/N, by standing after moving, by more than 20 km/h after R. An engine start withdraws any mark but P/N, a stop
// any of before it, and so does a step of the load by which the lever plainly went elsewhere: inference goes on from
// the mark.
func (j *Judge) Mark(when time.Time, s State) {
	at := momentOf(when)
	j.mark = mark{state: s, at: at}
	if s == ParkNeutral || s.Loaded() {
		j.begin(when)
		j.bank.Mark(j.ticker.seconds(when), s.Loaded())
	}
	j.settle(when)
}

// Prompt takes that a guided test asked for a state at a time. From the step of the load that answers it, or a while
// after it, to the next prompt the state is what was asked for, as if marked. What a prompt for Moving or Unknown ends
// is the one before.
func (j *Judge) Prompt(when time.Time, s State) {
	j.begin(when)
	if s != ParkNeutral && !s.Loaded() {
		j.bank.EndPrompt(j.ticker.seconds(when))
		return
	}
	if len(j.prompts) == maxPrompts {
		j.prompts = append(j.prompts[:0], j.prompts[1:]...)
	}
	j.prompts = append(j.prompts, mark{state: s, at: momentOf(when)})
	j.bank.Prompt(j.ticker.seconds(when), s.Loaded())
}

// maxPrompts is more than any guided test has steps.
const maxPrompts = 256

// begin has a drive begin that begins with a mark.
func (j *Judge) begin(when time.Time) {
	if j.ticker.start.IsZero() {
		j.ticker.start, j.ticker.open = when, when
	}
}

// Add takes the next sample and returns the judgement; changed reports whether state, number or origin differ
// from those returned before. Samples must come in order of time.
func (j *Judge) Add(s *obd.Sample) (call Call, changed bool) {
	at := s.Received
	j.ticker.closeTo(at, &j.now, j.bank)
	now := momentOf(at)
	for i := range s.Readings {
		j.take(&s.Readings[i], at, now)
	}
	was := j.report.state
	j.report.read(&j.now, s.Sent, at)
	switch {
	case j.report.state == was:
	case j.report.state == Unknown:
		j.bank.Unknow()
	default:
		j.bank.Know(j.ticker.seconds(at), j.report.state != ParkNeutral)
	}
	j.takeRatio(now)
	j.mark.check(j.mark.state != Unknown && !j.markFits(), now)
	j.settle(at)
	changed = !j.call.same(j.told)
	j.told = j.call
	return j.call, changed
}

// take sends one reading where it is used.
func (j *Judge) take(r *obd.Reading, at time.Time, now moment) {
	seen := j.now.take(r, at)
	switch {
	case seen == 0:
	case r.ID == obd.PIDRPM:
		j.ticker.rpm.add(r.Value)
		if seen&track.Started != 0 && j.now.Before.Known() && j.mark.state != ParkNeutral {
			j.mark = mark{}
		}
	case r.ID == obd.PIDLoad:
		j.ticker.load.add(r.Value)
	case r.ID == obd.PIDSpeed:
		if j.motion.add(r.Value, now) == ceased && j.mark.at < j.motion.since && j.mark.state != Moving {
			j.mark = mark{} // it told of another rest
		}
	}
}

// takeRatio compares engine and road speed each time the road speed is news.
func (j *Judge) takeRatio(now moment) {
	at := momentOf(j.now.Speed.At)
	switch {
	case !j.moves(now) || now.Sub(momentOf(j.now.RPM.At)) > track.Hole:
		j.ratios.leave()
	case at == now:
		j.ratios.add(j.now.RPM.V, j.now.Speed.V, now)
	}
}

func (j *Judge) speaks(now moment) bool {
	return j.motion.known && now.Sub(momentOf(j.now.Speed.At)) <= track.SpeedLasts
}

func (j *Judge) stands(now moment) bool { return j.speaks(now) && !j.motion.moving }

func (j *Judge) moves(now moment) bool { return j.speaks(now) && j.motion.moving }

func (j *Judge) markFits() bool {
	return j.mark.fits(j.motion.known && j.motion.moving, j.now.Speed.V, j.report.state)
}

// settle decides what holds now and notes it.
func (j *Judge) settle(at time.Time) {
	now := momentOf(at)
	r := j.decide(now)
	if r.origin == Marked {
		j.yield(&r, now)
	}
	j.call = r.in(at)
	noted := j.call
	noted.Number, noted.Since = 0, time.Time{}
	from := r.since
	if r.inferred {
		noted = Call{}
		if said := j.timeline.said(); said >= from {
			from = now // what was marked or reported until now stays so
		}
	}
	j.timeline.set(from, noted, r.inferred)
}

// yield withdraws a mark once the lever has plainly gone elsewhere since.
func (j *Judge) yield(r *ruling, now moment) {
	if !j.resting(now) || j.mark.state == Moving {
		return
	}
	s, known := j.last()
	if !known || s.State == lever.Unknown || s.State == lever.InGear == j.mark.state.Loaded() {
		return
	}
	since := j.momentAt(s.From)
	if since.Sub(j.mark.at) > markYields {
		j.mark = mark{}
		*r = j.decide(now)
	}
}
