package gear

import (
	"math"
	"time"
)

// Beliefs are log-odds that the box is in gear: 0 is no idea, +-3 is 20 to 1. The sizes are chosen, not fitted.
const (
	starterSays  = -4.0 // the starter turns only in park or neutral (starter interlock; common practice, no source)
	motionSays   = 3.5  // who just stopped has not touched the lever yet
	surest       = 4.0  // belief is kept within this, so that it can turn
	plainStep    = 6.0  // load step and rpm swing together
	doubtfulStep = 5.2  // both, but the idle speed is held: an accessory may do that too
	halfStep     = 1.2  // load step alone, or one unlike this car's lever
	turnsAt      = 0.8  // belief must pass this on the other side before the state turns
	shaken       = 1.2  // what is left of belief after a stretch in which the lever may have moved unseen
	levelSays    = 2.5  // most that the level of load may add
	halfLife     = 10 * time.Second
	unseenAfter  = 3                       // ticks
	learnsAt     = 1.9                     // belief from which idles are learned
	minDwell     = 1500 * time.Millisecond // between two turns of the inferred state
)

// lever infers whether a standing car is in gear from load and engine speed.
type lever struct {
	trace       trace
	watcher     watcher
	ledger      ledger
	park        habit // idle in park or neutral
	gear        habit // idle in gear
	belief      float64
	level       float64 // what the level of load says, log-odds
	state       State   // ParkNeutral, Drive or Unknown
	since       moment
	turned      moment
	restless    int     // ticks on end that were not quiet
	racing      int     // ticks on end of racing at rest
	stopped     moment  // when the car last came to rest
	entry       float64 // points of load of the step taken for going into gear; 0 when none was seen
	entryWeight float64 // what that step weighed
}

// anchor takes what is known for sure: after a start, a stop, a report or a mark.
func (l *lever) anchor(belief float64, at moment) {
	l.belief = belief
	l.level = 0
	l.settle(at, at, true)
}

// moveOff takes that the car began to move: it is in gear.
func (l *lever) moveOff(at moment) { l.anchor(motionSays, at) }

// stop takes that the car came to rest: still in gear, unless it idles then as freely as it did in neutral.
func (l *lever) stop(at moment) {
	l.anchor(motionSays, at)
	l.stopped = at
	l.free()
}

// free turns to neutral when a car at a stop idles as it does in neutral: its driver holds the clutch, as on a
// manual gearbox, so the box does not load the engine.
func (l *lever) free() {
	if l.state == Drive && !l.since.After(l.stopped) && l.park.known() && l.gear.near(l.park.load, l.park.rpm) {
		l.anchor(-shaken, l.stopped)
	}
}

// unsettle takes that the lever may have moved unseen: the state is kept, less surely.
func (l *lever) unsettle() { l.belief = min(max(l.belief, -shaken), shaken) }

// lose takes a hole in the data: nothing is known until there is evidence again.
func (l *lever) lose(hole time.Duration) {
	l.belief *= math.Pow(0.5, float64(hole)/float64(halfLife))
	l.unsettle()
	l.level, l.state, l.since = 0, Unknown, 0
	l.watcher = watcher{}
	l.ledger = ledger{}
}

// look weighs the newest second after each tick of quiet idle.
func (l *lever) look(standing bool, now moment) {
	if s, ok := l.watcher.look(&l.trace); ok {
		l.weigh(s, now)
	}
	if l.trace.back(0).quiet {
		l.restless = 0
	} else if l.restless++; l.restless == unseenAfter {
		l.unsettle()
	}
	l.race(standing, now)
	if !l.trace.quietFor(stepWindow) || l.watcher.pending > 0 {
		return
	}
	load, rpm := l.trace.levels(0, afterTo)
	l.compare(load.middle, rpm.middle, now)
	l.learn(load.middle, rpm.middle)
	l.free()
}

// race takes a standing engine that turns fast at little load for out of gear: what a converter asks for at rest
// grows with the square of the speed, so twice the idle in gear would be all but full load.
func (l *lever) race(standing bool, now moment) {
	b := l.trace.back(0)
	if !standing || b.low < fastIdle || !(b.load < racingLoad) {
		l.racing = 0
		return
	}
	if l.racing++; l.racing == racesAfter {
		l.anchor(-shaken, now.Add(-racesAfter*tick)) // and the lever may move while speed falls
	}
}

const (
	racingLoad = 45.0 // per cent
	racesAfter = 5    // ticks
)

// weigh turns belief by a step.
func (l *lever) weigh(s step, now moment) {
	if l.expected(s) {
		l.part(s)
		return
	}
	weight := max(l.grade(s), l.undoes(s))
	if l.state != Unknown && l.accessory(s, weight) {
		return
	}
	if weight == plainStep {
		l.part(s)
	}
	l.entry, l.entryWeight = 0, 0
	if s.load > 0 && l.state != Drive {
		l.entry, l.entryWeight = s.load, weight
	}
	l.belief = min(max(l.belief, -surest), surest) + math.Copysign(weight, s.load)
	l.level = 0
	l.settle(s.at, now, false)
}

// expected reports whether a step is that of a turn already known, from a report or a mark.
func (l *lever) expected(s step) bool {
	const near = 2 * time.Second
	return l.state != Unknown && (l.state == Drive) == (s.load > 0) && s.at.Sub(l.since).Abs() <= near
}

// grade is how strongly a step speaks for the lever. A box that takes up slows the engine for a moment, and on
// most cars the idle it settles at is lower; an accessory is often announced to idle control, which then holds
// the speed or even raises it (common practice, no source).
func (l *lever) grade(s step) float64 {
	size := math.Abs(s.load)
	slower := s.settle // rpm that the new idle differs, the way a lever does it
	if s.load > 0 {
		slower = -slower
	}
	switch {
	case !s.joint:
		return halfStep
	case l.apart():
		return l.likeness(size, slower)
	case size < firstStep, slower < -clearDrop:
		return halfStep
	case slower < clearDrop:
		return doubtfulStep
	}
	return plainStep
}

// likeness grades a step on a car whose lever is known, by its share of the load the lever usually makes and of
// the change of speed, where there is a clear one. A cold engine changes speed by more than a warm one.
func (l *lever) likeness(size, slower float64) float64 {
	const fullDrop, alike = 60, 0.62
	usual, drop := l.gear.load-l.park.load, l.park.rpm-l.gear.rpm
	if size < usual/2 || size > 2*usual+2 {
		return halfStep
	}
	if drop <= clearDrop {
		return plainStep
	}
	share := min(max(slower/min(drop, fullDrop), -1), 1)
	if (min(size/usual, 1)+share)/2 < alike {
		return halfStep
	}
	return plainStep
}

const (
	firstStep = 4.0  // points; the least load step taken for the lever while this car's levels are not known
	clearDrop = 25.0 // rpm by which idles must differ to tell by
)

// undoes is what a step weighs that takes back the one that went into gear: whatever that was, it is over. It
// counts on cars whose idle speed does not tell.
func (l *lever) undoes(s step) float64 {
	size := -s.load
	if l.entry == 0 || !similar(size, l.entry) || l.apart() && l.park.rpm-l.gear.rpm > clearDrop {
		return 0
	}
	if l.ledger.on > 0 && math.Abs(size-l.ledger.on) < math.Abs(size-l.entry) {
		return 0
	}
	return l.entryWeight
}

// similar reports whether two sizes of step may be of one thing.
func similar(a, b float64) bool { return math.Abs(a-b) <= 0.3*max(a, b) }

// accessory reports whether a step is a fan's or a compressor's, as far as can be told: one that the lever
// cannot have made, or that undoes such a one. It keeps the books on them.
func (l *lever) accessory(s step, weight float64) bool {
	inGear := l.state == Drive
	size := math.Abs(s.load)
	switch {
	case s.load > 0 && inGear && l.entryWeight == doubtfulStep && weight == plainStep:
		l.ledger.on = l.entry // this is the lever, so the doubtful one before was not
		return false
	case s.load > 0 && inGear:
		l.ledger.on = size
	case s.load < 0 && !inGear:
		l.ledger.off = size
	case weight < plainStep && l.ledger.settles(s):
		return true
	default:
		return false
	}
	l.belief += math.Copysign(halfStep, s.load) // it cannot have been the other way round
	return true
}

// apart reports whether both levels are known and far enough apart to tell by.
func (l *lever) apart() bool {
	return l.park.known() && l.gear.known() && l.gear.load-l.park.load >= minLoadStep
}

// compare lets the level of load speak, within bounds: an accessory may hold load up for minutes. Where the
// speed of the idle speaks as well and both contradict, a step was missed, and belief wears off.
func (l *lever) compare(load, rpm float64, now moment) {
	const (
		heard    = 0.1  // a tick; two seconds to be heard
		wearsOff = 0.98 // a tick; ten seconds to wear off
	)
	says := 0.0
	switch drop := l.park.rpm - l.gear.rpm; {
	case l.apart() && drop > clearDrop:
		says = (between(load, l.park.load, l.gear.load) + between(rpm, l.park.rpm, l.gear.rpm)) / 2
		if says*l.belief < 0 && l.level*l.belief < 0 && math.Abs(l.level) > 0.7*levelSays {
			l.belief *= wearsOff
		}
	case l.apart():
		says = between(load, l.park.load, l.gear.load)
	case l.state == Unknown && l.belief < 0 && l.park.near(load, rpm):
		says = -1
	case l.state == Unknown && l.belief > 0 && l.gear.near(load, rpm):
		says = 1
	}
	l.level += heard * (levelSays*says - l.level)
	l.settle(now, now, false)
}

// between is where a value lies from the idle in park, -1, to the idle in gear, +1; beyond counts as there.
func between(v, park, gear float64) float64 {
	return min(max((2*v-park-gear)/(gear-park), -1), 1)
}

// settle lets the state follow belief. at is when the change began, now when it was seen.
func (l *lever) settle(at, now moment, sure bool) {
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
	if math.Abs(l.belief) < learnsAt {
		return
	}
	// An engine that warms up changes both idles alike, so the one that is not lived through moves along.
	switch l.state {
	case ParkNeutral:
		l.gear.shift(l.park.add(load, rpm))
	case Drive:
		l.park.shift(l.gear.add(load, rpm))
	}
}

// part brings the distance of the two idles towards what a plain step showed.
func (l *lever) part(s step) {
	const share = 0.3
	if !l.park.known() || !l.gear.known() {
		return
	}
	load, rpm := s.load, s.settle
	if load < 0 {
		load, rpm = -load, -rpm
	}
	load = share * (load - (l.gear.load - l.park.load)) / 2
	rpm = share * (rpm - (l.gear.rpm - l.park.rpm)) / 2
	l.gear.shift(load, rpm)
	l.park.shift(-load, -rpm)
}

// confidence is the probability that belief stands for, never quite sure: an accessory can feign a lever.
func (l *lever) confidence() float64 {
	const most = 0.9
	return most / (1 + math.Exp(-math.Abs(l.belief+l.level)))
}
