package gear

import (
	"math"
	"time"
)

// Beliefs are log-odds that the box is in gear: 0 is no idea, +-3 is 20 to 1. The sizes are chosen, not fitted.
const (
	starterSays = -4.0 // the starter turns only in park or neutral (starter interlock; common practice, no source)
	motionSays  = 3.5  // who just stopped has not touched the lever yet
	surest      = 4.0  // belief is kept within this, so that it can turn
	plainStep   = 6.0  // load step and rpm swing together
	halfStep    = 1.2  // load step alone, or one that fits an accessory as well
	turnsAt     = 0.8  // belief must pass this on the other side before the state turns
	shaken      = 1.2  // what is left of belief after a stretch in which the lever may have moved unseen
	levelSays   = 2.0  // most that the level of load may add
	halfLife    = 10 * time.Second
	unseenAfter = 3                       // ticks
	clutchAfter = 2                       // such launches
	minDwell    = 1500 * time.Millisecond // between two turns of the inferred state
)

// lever infers whether a standing car is in gear from load and engine speed.
type lever struct {
	trace    trace
	watcher  watcher
	ledger   ledger
	park     habit // idle in park or neutral
	gear     habit // idle in gear
	belief   float64
	level    float64 // what the level of load says, log-odds
	state    State   // ParkNeutral, Drive or Unknown
	since    time.Time
	turned   time.Time
	restless int // ticks on end that were not quiet
	clutched int // times the car moved off out of park or neutral
}

// anchor takes what is known for sure: after a start, a stop, a report or a mark.
func (l *lever) anchor(belief float64, at time.Time) {
	l.belief = belief
	l.level = 0
	l.settle(at, at, true)
}

// moveOff takes that the car began to move: it is in gear. Moving off from park or neutral with no step before
// is how a gearbox with a clutch does it.
func (l *lever) moveOff(at time.Time) {
	if l.state == ParkNeutral {
		l.clutched++
	}
	l.anchor(motionSays, at)
}

// stop takes that the car came to rest. With a clutch the engine idles free then, and no lever loads it.
func (l *lever) stop(at time.Time) {
	if l.clutched >= clutchAfter && !l.gear.known() {
		l.anchor(-shaken, at)
		return
	}
	l.anchor(motionSays, at)
}

// unsettle takes that the lever may have moved unseen: the state is kept, less surely.
func (l *lever) unsettle() { l.belief = min(max(l.belief, -shaken), shaken) }

// lose takes a hole in the data: nothing is known until there is evidence again.
func (l *lever) lose(hole time.Duration) {
	l.belief *= math.Pow(0.5, float64(hole)/float64(halfLife))
	l.unsettle()
	l.level, l.state, l.since = 0, Unknown, time.Time{}
	l.watcher = watcher{}
	l.ledger = ledger{}
}

// look weighs the newest second after each tick of quiet idle.
func (l *lever) look(now time.Time) {
	if s, ok := l.watcher.look(&l.trace); ok {
		l.weigh(s, now)
	}
	if l.trace.back(0).quiet {
		l.restless = 0
	} else if l.restless++; l.restless == unseenAfter {
		l.unsettle()
	}
	if !l.trace.quietFor(stepWindow) || l.watcher.pending > 0 {
		return
	}
	load, rpm := l.trace.levels(0, afterTo)
	l.compare(load.middle, rpm.middle, now)
	l.learn(load.middle, rpm.middle)
}

// weigh turns belief by a step.
func (l *lever) weigh(s step, now time.Time) {
	inGear := l.belief > 0
	switch explained := l.ledger.explains(s, inGear); {
	case explained:
		return
	case s.joint && l.likeGear(s):
		l.belief += math.Copysign(plainStep, s.load)
	default:
		l.belief += math.Copysign(halfStep, s.load)
	}
	l.level = 0
	l.settle(s.at, now, false)
}

// likeGear reports whether a step is of the size this car's gear makes, as far as that is known.
func (l *lever) likeGear(s step) bool {
	size := math.Abs(s.load)
	if !l.apart() {
		return size >= firstStep
	}
	usual := l.gear.load - l.park.load
	return size > 0.5*usual && size < 2*usual+2
}

// firstStep is the least load step taken for the lever on a car whose levels are not known yet, in points.
const firstStep = 4.0

// apart reports whether both levels are known and far enough apart to tell by.
func (l *lever) apart() bool {
	return l.park.known() && l.gear.known() && l.gear.load-l.park.load >= minLoadStep
}

// compare lets the level of load speak, within bounds: an accessory may hold load up for minutes.
func (l *lever) compare(load, rpm float64, now time.Time) {
	switch {
	case l.apart():
		halfway, half := (l.park.load+l.gear.load)/2, (l.gear.load-l.park.load)/2
		says := levelSays * min(max((load-halfway)/half, -1), 1)
		l.level += 0.1 * (says - l.level) // two seconds to be heard
	case l.state == Unknown && l.belief < 0 && l.park.near(load, rpm):
		l.level += 0.1 * (-levelSays - l.level)
	case l.state == Unknown && l.belief > 0 && l.gear.near(load, rpm):
		l.level += 0.1 * (levelSays - l.level)
	}
	l.settle(now, now, false)
}

// settle lets the state follow belief. at is when the change began, now when it was seen.
func (l *lever) settle(at, now time.Time, sure bool) {
	l.belief = min(max(l.belief, -surest), surest)
	next := l.state
	switch odds := l.belief + l.level; {
	case odds >= turnsAt:
		next = Drive
	case odds <= -turnsAt:
		next = ParkNeutral
	}
	if next == l.state || !sure && l.state != Unknown && now.Sub(l.turned) < minDwell {
		return
	}
	l.state, l.since, l.turned = next, at, now
}

// learn adds the present idle to the habit of the state, when that is sure.
func (l *lever) learn(load, rpm float64) {
	if math.Abs(l.belief) < shaken+turnsAt {
		return
	}
	switch l.state {
	case ParkNeutral:
		l.park.add(load, rpm)
	case Drive:
		l.gear.add(load, rpm)
	}
}

// confidence is the probability that belief stands for, never quite sure: an accessory can feign a lever.
func (l *lever) confidence() float64 {
	const most = 0.9
	return most / (1 + math.Exp(-math.Abs(l.belief+l.level)))
}

// habit is the usual idle in one state: running medians of load and rpm that forget in about half a minute of
// idle, so that they follow an engine that warms up.
type habit struct {
	load, rpm float64
	seen      int // ticks learned from
}

const (
	habitAfter = 10 // ticks of idle, two seconds, before a habit is known
	loadPace   = 0.03
	rpmPace    = 1.0
)

func (h *habit) known() bool { return h.seen >= habitAfter }

// add moves the medians a fixed step towards a value (stochastic approximation of the median), faster at first.
func (h *habit) add(load, rpm float64) {
	if h.seen < habitAfter {
		h.seen++
		h.load += (load - h.load) / float64(h.seen)
		h.rpm += (rpm - h.rpm) / float64(h.seen)
		return
	}
	h.load += min(max(load-h.load, -loadPace), loadPace)
	h.rpm += min(max(rpm-h.rpm, -rpmPace), rpmPace)
}

// near reports whether an idle is like this one.
func (h *habit) near(load, rpm float64) bool {
	return h.known() && math.Abs(load-h.load) < minLoadStep && math.Abs(rpm-h.rpm) < 2*maxDrift
}

// ledger remembers loads that came on while the lever could not have caused them, or went off so: a fan or an
// air-conditioning compressor will take its step back.
type ledger struct {
	on  float64 // points of load that an accessory holds; 0 when none is known
	off float64 // points of load an accessory gave up
}

// explains books a step that the lever cannot have made, or that undoes one booked before.
func (a *ledger) explains(s step, inGear bool) bool {
	const alike = 0.4
	size := math.Abs(s.load)
	switch {
	case s.load > 0 && inGear:
		a.on = size
	case s.load < 0 && !inGear:
		a.off = size
	case s.load < 0 && a.on > 0 && math.Abs(size-a.on) <= alike*a.on:
		a.on = 0
	case s.load > 0 && a.off > 0 && math.Abs(size-a.off) <= alike*a.off:
		a.off = 0
	default:
		return false
	}
	return true
}
