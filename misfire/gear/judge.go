package gear

import (
	"math"
	"time"

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
// After an engine start the state is park or neutral, because the starter turns in no other. After a hole of
// more than two seconds in the engine's speed an inferred state is Unknown until there is evidence again.
//
// At rest the lever is inferred from a lasting step of load that comes with a dip of engine speed (into gear) or
// a flare (out of gear), with the foot off the pedal; from the idles learned in each state; from a stop, which
// leaves the car in gear; and from racing at rest, which no car does in gear. A step is seen some two seconds
// late and dated back. An accessory that loads the engine as the box does can feign it: confidence says how
// plain it was, and is never above 0.9.
type Judge struct {
	now    signals
	engine engine
	motion motion
	foot   foot
	lever  lever
	ratios ratios
	report report
	mark   mark
	call   Call
	told   Call // what Add last returned
}

// NewJudge is a judge that knows nothing yet.
func NewJudge() *Judge { return &Judge{} }

// Call is the present judgement.
func (j *Judge) Call() Call { return j.call }

// Mark takes the state that the driver or helper marked at a time. Unknown withdraws the mark. A mark holds
// until the next one, or until it is contradicted for three seconds on end: by a report of the car, by motion
// after P/N, by standing after moving, by more than 20 km/h after R. An engine start withdraws any mark but P/N.
func (j *Judge) Mark(when time.Time, s State) {
	at := momentOf(when)
	j.mark = mark{state: s, at: at}
	switch s {
	case ParkNeutral:
		j.lever.anchor(-motionSays, at)
	case Drive, Reverse:
		j.lever.anchor(motionSays, at)
	}
	j.call = j.decide(at).in(when)
}

// Add takes the next sample and returns the judgement; changed reports whether state, number or origin differ
// from those returned before. Samples must come in order of time.
func (j *Judge) Add(s *obd.Sample) (call Call, changed bool) {
	now := momentOf(s.Received)
	for i := range s.Readings {
		j.take(&s.Readings[i], now)
	}
	j.report.read(&j.now, momentOf(s.Sent), now)
	j.takeRatio(now)
	j.tick(now)
	if j.report.state != Unknown {
		j.lever.anchor(certain(j.report.state), j.report.since)
	}
	j.mark.check(j.mark.state != Unknown && !j.markFits(), now)
	j.call = j.decide(now).in(s.Received)
	changed = !j.call.same(j.told)
	j.told = j.call
	return j.call, changed
}

func certain(s State) float64 {
	if s == ParkNeutral {
		return -surest
	}
	return surest
}

// take sends one reading where it is used.
func (j *Judge) take(r *obd.Reading, now moment) {
	before := j.now.rpm.at
	switch j.now.take(r, now) {
	case &j.now.rpm:
		j.takeRPM(now.Sub(before), now)
	case &j.now.load:
		j.lever.trace.addLoad(r.Value)
	case &j.now.speed:
		j.takeSpeed(now)
	case &j.now.throttle:
		if j.idles(now) { // on the move the throttle shuts further than at any idle
			j.foot.throttle.add(r.Value)
		}
	case &j.now.pedal:
		j.foot.pedal.add(r.Value)
	}
}

// takeRPM takes the engine's speed, so long after the one before.
func (j *Judge) takeRPM(after time.Duration, now moment) {
	if after > gap {
		j.lever.lose(after)
		j.lever.trace.reset(now)
	}
	switch j.engine.add(j.now.rpm.value, now) {
	case started:
		if j.mark.state != ParkNeutral {
			j.mark = mark{}
		}
		j.lever.anchor(j.engine.startSays(now), now)
	case ceased:
		j.engine.inGear = j.lever.state == Drive
		j.lever.lose(0)
	}
	j.lever.trace.addRPM(j.now.rpm.value)
}

// takeSpeed takes the road speed.
func (j *Judge) takeSpeed(now moment) {
	switch j.motion.add(j.now.speed.value, now) {
	case started:
		j.lever.moveOff(j.motion.since)
	case ceased:
		j.lever.stop(j.motion.since)
	}
}

// takeRatio compares engine and road speed each time the road speed is news.
func (j *Judge) takeRatio(now moment) {
	switch {
	case !j.moves(now) || !j.now.rpm.fresh(now, gap):
		j.ratios.leave()
	case j.now.speed.at == now:
		j.ratios.add(j.now.rpm.value, j.now.speed.value, now)
	}
}

// tick ends the ticks that are over.
func (j *Judge) tick(now moment) {
	rpm, load := math.NaN(), math.NaN()
	if j.now.rpm.fresh(now, gap) {
		rpm = j.now.rpm.value
	}
	if j.now.load.fresh(now, gap) {
		load = j.now.load.value
	}
	for !math.IsNaN(rpm) && j.lever.trace.due(now) {
		j.lever.trace.close(rpm, load, j.quiet(now))
		j.lever.look(j.engine.running && j.stands(now), j.lever.trace.open.start)
	}
}

// quiet reports whether the car idles with the foot off the pedal.
func (j *Judge) quiet(now moment) bool { return j.idles(now) && j.foot.off(&j.now, now) }

// idles reports whether the engine runs no faster than an idle while the car stands.
func (j *Judge) idles(now moment) bool {
	return j.engine.running && j.stands(now) && j.now.rpm.value < fastIdle
}

// fastIdle is above any idle, cold ones too, in rpm (common practice, no source).
const fastIdle = 1700

func (j *Judge) stands(now moment) bool {
	return j.motion.known && !j.motion.moving && j.now.speed.fresh(now, speedLasts)
}

func (j *Judge) moves(now moment) bool {
	return j.motion.known && j.motion.moving && j.now.speed.fresh(now, speedLasts)
}

func (j *Judge) markFits() bool {
	return j.mark.fits(j.motion.known && j.motion.moving, j.now.speed.value, j.report.state)
}

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
}

func (r ruling) in(zone time.Time) Call {
	return Call{State: r.state, Number: r.number, Origin: r.origin, Confidence: r.confidence, Since: r.since.in(zone)}
}

func (j *Judge) decide(now moment) ruling {
	switch {
	case j.moves(now):
		return j.underWay()
	case j.report.state != Unknown:
		return j.reported()
	case j.mark.state != Unknown && j.markFits():
		return ruling{state: j.mark.state, origin: Marked, confidence: plain, since: later(j.mark.at, j.motion.since)}
	case j.stands(now) && j.engine.running && j.now.rpm.fresh(now, gap) && j.lever.state != Unknown:
		return ruling{state: j.lever.state, origin: Inferred, confidence: j.lever.confidence(), since: later(j.lever.since, j.motion.since)}
	}
	return ruling{since: j.now.rpm.at}
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
