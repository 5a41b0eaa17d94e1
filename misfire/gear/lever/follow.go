package lever

import "math"

// follower makes rests and steps of ticks.
type follower struct {
	trail
	pedal, throttle least
	zeros, offs     int // ticks on end
	rolls           int
	zeroAt          float64
	finder          finder
	rests           []rest
	moved           bool // since the last rest
	stood           bool // the engine stood since the last rest
	started         bool // it was seen to start at all
	startedAt       float64
	everMoved       bool
	gap             gap
	turnedAt        float64 // when the wheels first turned after standing
	news            bool    // something happened that may change what is said
}

// gap is a part of the open rest in which the idle tells nothing, while it lasts.
type gap struct {
	on     bool
	sort   sort
	from   float64
	before level
	high   float64 // rpm
	ticks  float64 // with the engine faster than any idle
}

const (
	raceFor      = 3.0  // s faster than any idle: nobody races at rest with a gear in (common practice, no source)
	longestTick  = 2.0  // s without a tick are a hole
	longestHole  = 60.0 // s; in a longer hole the car may have been anywhere
	settles      = 1.6  // s of a rest that are left to settle
	leaves       = 1.2  // s before moving off in which the throttle opens
	levelTicks   = 8
	startSettles = 5.0 // s after the first start of the engine
	fallsBy      = 45.0
)

// open is the rest that goes on, nil when none does.
func (f *follower) open() *rest {
	if n := len(f.rests); n > 0 && f.rests[n-1].end == Open {
		return &f.rests[n-1]
	}
	return nil
}

// add takes the tick that began at a time.
func (f *follower) add(at float64, k Tick) {
	if f.held() > 0 && at-f.back(0).at > longestTick {
		f.lose(at)
	}
	f.trail.add(f.look(at, k))
	now := f.back(0)
	f.rolls++
	if !(k.Speed > movesFrom) {
		f.rolls = 0
	}
	now.moves = f.rolls >= movesAfter
	if !now.runs {
		f.stood = true
	} else if f.stood && !f.before().runs {
		f.startedAt = at
	}
	r := f.open()
	switch {
	case r == nil && now.runs && now.stands && !now.moves:
		f.begin(at)
	case r != nil && !now.runs:
		f.close(EngineOff, at)
	case r != nil && now.moves:
		f.close(MovedOff, at)
	case r != nil:
		f.goOn(r)
	}
	if now.moves {
		f.moved = true
		if !f.everMoved {
			f.everMoved, f.news = true, true
		}
	}
}

func (f *follower) before() *seen {
	if f.held() < 2 {
		return &seen{}
	}
	return f.back(1)
}

// look tells what a tick shows.
func (f *follower) look(at float64, k Tick) seen {
	s := seen{Tick: k, at: at}
	s.runs = k.RPM > runsFrom
	if k.Speed == 0 {
		if f.zeros == 0 {
			f.zeroAt = at
		}
		f.zeros++
	} else {
		if f.zeros > 0 {
			f.turnedAt = at
		}
		if k.Speed > movesFrom || math.IsNaN(k.Speed) {
			f.zeros = 0
		}
	}
	s.stands = f.zeros >= standsAfter
	f.pedal.add(k.Pedal)
	if s.stands && s.runs && k.RPM < quietTo {
		f.throttle.add(k.Throttle) // on the move the throttle shuts further than at any idle
	}
	s.off = f.pedal.off(k.Pedal, pedalPlay)
	if math.IsNaN(k.Pedal) {
		s.off = f.throttle.off(k.Throttle, throttlePlay)
	}
	if s.off {
		f.offs++
	} else {
		f.offs = 0
	}
	s.quiet = s.stands && s.runs && k.RPM < quietTo && f.offs >= quietAfter && !math.IsNaN(k.Load)
	return s
}

// begin opens a rest.
func (f *follower) begin(at float64) {
	r := rest{from: max(f.zeroAt, f.endOfLast()), to: at, first: nowhere(), last: nowhere(), start: Joined}
	switch {
	case f.moved:
		r.start = Stop
	case f.stood && !f.started:
		r.start, r.from = FirstStart, f.startedAt
	case f.stood:
		r.start, r.from = Restart, f.startedAt
	}
	f.started = f.started || f.stood
	f.moved, f.stood = false, false
	f.rests = append(f.rests, r)
	f.finder = finder{noise: f.finder.noise}
	f.gap, f.news = gap{}, true
}

func (f *follower) endOfLast() float64 {
	if n := len(f.rests); n > 0 {
		return f.rests[n-1].to
	}
	return math.Inf(-1)
}

// goOn follows the open rest.
func (f *follower) goOn(r *rest) {
	now := f.back(0)
	r.to = now.at + Period
	f.followBlip(r, now)
	wait := settles
	if r.start == FirstStart {
		wait = startSettles
	}
	if !r.first.known() && f.idleFor(levelTicks) && now.at-r.from >= wait+levelTicks*Period {
		r.first = f.levelOf(0, levelTicks-1)
	}
	if f.idleFor(levelTicks + 6) {
		r.last = f.levelOf(6, 6+levelTicks-1)
	}
	if s, found := f.finder.look(&f.trail, f.idleFor(window)); found {
		f.enter(r, s)
	}
	f.reconsider(r)
	f.endGap(r)
}

// idleFor reports whether the newest n ticks were all quiet.
func (f *follower) idleFor(n int) bool { return f.quiet(0, n-1) }

// followBlip notices that somebody is on the pedal, or lets the engine race.
func (f *follower) followBlip(r *rest, now *seen) {
	if f.gap.on && now.RPM > quietTo {
		f.gap.high = max(f.gap.high, now.RPM)
		f.gap.ticks++
	}
	if f.gap.on || now.off && now.RPM <= quietTo || r.length() < settles {
		return
	}
	f.gap = gap{on: true, sort: blipped, from: now.at, before: nowhere()}
	if f.held() > levelTicks+4 && f.back(levelTicks+3).quiet {
		f.gap.before = f.levelOf(4, 4+levelTicks-1)
	}
}

// endGap makes a boundary of a gap once the car idles again.
func (f *follower) endGap(r *rest) {
	over := levelTicks + quietAfter
	raced := f.gap.sort == blipped && f.gap.high > quietTo && f.gap.ticks*Period >= raceFor
	if raced {
		over += levelTicks // the idle comes down slowly
	}
	if !f.gap.on || !f.idleFor(over) {
		return
	}
	s := step{sort: f.gap.sort, at: f.gap.from, until: f.back(0).at - float64(over)*Period, before: f.gap.before,
		after: f.levelOf(0, levelTicks-1)}
	s.load, s.rpm = s.after.load-s.before.load, s.after.rpm-s.before.rpm
	s.raced = raced
	r.steps = append(r.steps, s)
	f.gap, f.news = gap{}, true
}

// lose tells that nothing was read from the newest tick to a time.
func (f *follower) lose(to float64) {
	from := f.back(0).at + Period
	before := nowhere()
	if f.idleFor(levelTicks) {
		before = f.levelOf(0, levelTicks-1)
	}
	r := f.open()
	f.trail = trail{}
	f.finder = finder{noise: f.finder.noise}
	f.zeros, f.offs = 0, 0
	switch {
	case r == nil:
	case to-from > longestHole:
		f.close(Lost, from)
	case !f.gap.on:
		f.gap = gap{on: true, sort: holed, from: from, before: before}
	}
}

// close ends the open rest.
func (f *follower) close(end End, at float64) {
	r := f.open()
	r.end, f.news = end, true
	r.to = at
	if f.gap.on && f.gap.sort == holed {
		r.end, r.to = Lost, f.gap.from
	}
	if r.end == MovedOff {
		r.to = max(r.from, min(at, f.turnedAt))
		for n := len(r.steps); n > 0 && r.steps[n-1].at > r.to-leaves && r.steps[n-1].forced == nobody; n-- {
			r.steps = r.steps[:n-1]
		}
	}
	r.fell = r.first.known() && r.last.known() && r.length() > 10 && r.first.rpm-r.last.rpm > fallsBy
}
