package guide

import (
	"cmp"
	"math"
	"slices"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/track"
	"stumble/obd"
)

// BalanceConfig is what a balance test is to do.
type BalanceConfig struct {
	Cylinders []int // to cut, in this order
	Rounds    int   // the most cuts of a cylinder; those that are in doubt after one are cut again. 0 is MostRounds
}

// MostRounds is how often a cylinder is cut at the most where nothing else is said.
const MostRounds = 3

// LongestOff is the longest that a cylinder may be off (common practice, no source: trade-checks "cylinder cut test,
// duration").
const LongestOff = 10 * time.Second

const (
	baseFor   = 8 * time.Second        // of idle before a cut, to see a fall against
	apart     = 500 * time.Millisecond // of a cut, which nobody times to the moment
	usualOff  = 6 * time.Second        // that a cylinder is off, where none was yet
	firstBase = 20 * time.Second       // of idle before the first cut: it tells the noise too
	cutsApart = 30 * time.Second       // between cuts; a choice
	flashCool = time.Minute            // while the lamp flashes
	recovers  = 10 * time.Second       // until idle is what it was after a cylinder works again
	countFrom = 5 * time.Second        // before the limit, each second is counted
	lateEvery = 2 * time.Second
	reaction  = 500 * time.Millisecond // from unplugging to saying so
	twice     = 800 * time.Millisecond // a key pressed again within it is the same press
	warm      = 70.0                   // degC, from which an engine counts as warm in this program
	fastest   = 1200.0                 // rpm that can still be an idle
	surely    = 4.0                    // standard deviations of a moment's mean that are no chance
	leastFall = 0.02                   // of the idle: a fall of less is not taken for a cut
	mostVoids = 2                      // cuts of a cylinder that do not count before it is given up
	sustained = 800 * time.Millisecond // that a fall must last to be taken for a cut
)

// BalanceTest leads through cuts, one cylinder after the other.
type BalanceTest struct {
	*Runner
	cfg    BalanceConfig
	trace  trace
	car    track.State
	quiets []quiet
	falls  [][]float64 // by place in cfg.Cylinders
	done   []Fall

	queue  []int // places still to be cut in this round
	number int   // of the cut in its round
	of     int
	round  int
	turn   int // place of the cylinder being cut; -1: none

	calm    time.Time // since when the idle has been undisturbed
	cold    Saying    // what keeps it from being warm
	flashes bool
	skipped []bool // by place
	voids   []int  // cuts that did not count, by place

	base      float64         // before the cut
	unrest    float64         // of a moment's mean
	off       time.Time       // when the cylinder was cut
	back      time.Time       // when it worked again; zero: it does not, or its fall is measured
	offs      []time.Duration // of the falls that were measured
	falling   time.Time       // since when the speed is down; zero: it is not
	rising    time.Time
	void      SayingKind // why this cut does not count
	pressed   time.Time
	countdown int       // the second that was counted last
	late      time.Time // when it was last said that the time is over
}

// NewBalanceTest begins a test; tell hears every event, from within the other methods.
func NewBalanceTest(cfg BalanceConfig, tell func(Event)) *BalanceTest {
	if cfg.Rounds <= 0 {
		cfg.Rounds = MostRounds
	}
	n := len(cfg.Cylinders)
	t := &BalanceTest{Runner: &Runner{tell: tell}, cfg: cfg, turn: -1, round: 1, of: n,
		falls: make([][]float64, n), skipped: make([]bool, n), voids: make([]int, n)}
	t.plan = t
	for i := range cfg.Cylinders {
		t.queue = append(t.queue, i)
	}
	return t
}

func (t *BalanceTest) sample(s *obd.Sample) {
	for i := range s.Readings {
		if t.car.Take(&s.Readings[i], track.Instant(s))&track.Turned == 0 {
			continue
		}
		if at := t.car.RPM.At; len(t.trace) == 0 || at.After(t.trace[len(t.trace)-1].at) {
			t.trace = append(t.trace, reading{at, t.car.RPM.V})
			t.look(at)
		}
	}
}

// look looks for the fall and the rise of a cut in the newest reading.
func (t *BalanceTest) look(at time.Time) {
	v := t.trace.recent(len(t.trace) - 1)
	if t.over || math.IsNaN(v) || math.IsNaN(t.base) || t.base == 0 {
		return
	}
	step := max(surely*t.unrest, leastFall*t.base)
	switch t.ask {
	case AskUnplug:
		if v >= t.base-step {
			t.falling = time.Time{}
		} else if t.falling.IsZero() {
			t.falling = at
		} else if at.Sub(t.falling) >= sustained {
			t.cut(t.onset(t.falling, -1), at)
		}
	case AskPlugIn:
		// Idle control has made up for the cylinder: as it works again the engine speeds up beyond its idle.
		if v <= t.base+step {
			t.rising = time.Time{}
		} else if t.rising.IsZero() {
			t.rising = at
		} else if at.Sub(t.rising) >= sustained {
			t.plugged(t.onset(t.rising, 1), at)
		}
	}
}

// onset goes back from a fall that is sure (sign -1), or a rise (1), to where the speed was last at its idle.
func (t *BalanceTest) onset(sure time.Time, sign float64) time.Time {
	for i := len(t.trace) - 1; i > 0; i-- {
		if p := t.trace[i]; !p.at.After(sure) && (sign*(p.rpm-t.base) <= t.unrest || sure.Sub(p.at) > settle+fast) {
			return p.at
		}
	}
	return sure
}

func (t *BalanceTest) confirm(at time.Time) {
	if at.Sub(t.pressed) < twice {
		return
	}
	t.pressed, t.last = at, at
	switch t.ask {
	case AskReady:
		if t.wrong.Kind == Nothing { // an engine that is not warm is measured where somebody says so
			t.calm = at
			t.require(AskBase, Asked)
		}
	case AskUnplug:
		if t.falling.IsZero() {
			t.cut(at.Add(-reaction), at)
		} else {
			t.cut(t.onset(t.falling, -1), at)
		}
	case AskPlugIn:
		switch {
		case at.Sub(t.since) < twice:
		case t.rising.IsZero():
			t.plugged(at.Add(-reaction), at)
		default:
			t.plugged(t.onset(t.rising, 1), at)
		}
	}
}

func (t *BalanceTest) advance(time.Duration) {
	now, live := t.last, &t.now.Live
	t.flashes = live.MIL == misfire.MILFlashing
	t.wrong, t.cold = disturbance(live), cold(live)
	switch t.ask {
	case AskNothing:
		t.calm = now
		t.require(AskReady, Asked)
	case AskReady:
		if t.wrong.Kind == Nothing && t.cold.Kind == Nothing {
			t.calm = now
			t.require(AskBase, Asked)
		}
		t.remind()
	case AskBase, AskCool:
		t.wait(now)
	case AskUnplug:
		t.awaitCut(now)
	case AskHold:
		t.hold(now)
	case AskPlugIn:
		t.count(now)
	}
}

// disturbance is what keeps the engine from being at idle; nothing while nothing does.
func disturbance(l *misfire.Live) Saying {
	switch {
	case !l.Running:
		return told(DoStart)
	case l.Gear.State.Loaded() || l.Gear.State == gear.Moving || l.Speed > 0:
		return told(DoStopPark)
	case l.RPM > fastest:
		return told(DoIdle)
	}
	return Saying{}
}

// cold asks for a warm engine; nothing where it is, or nobody knows.
func cold(l *misfire.Live) Saying {
	if l.Coolant < warm {
		return Saying{Kind: DoWarm, Value: l.Coolant, Of: warm}
	}
	return Saying{}
}

// disturbed goes back to the beginning of a cut when the engine is not at idle.
func (t *BalanceTest) disturbed() bool {
	if t.wrong.Kind == Nothing {
		return false
	}
	t.rest(t.last)
	if !t.back.IsZero() {
		t.void = IdleLeft
		t.measure()
	}
	t.turn = -1
	t.require(AskReady, Asked)
	return true
}

// rest ends the quiet stretch that was going on.
func (t *BalanceTest) rest(until time.Time) {
	if !t.calm.IsZero() && until.After(t.calm) {
		t.quiets = append(t.quiets, quiet{t.calm, until})
	}
	t.calm = time.Time{}
}

// wait measures the idle, or lets the catalyst cool, and then asks for the next cut.
func (t *BalanceTest) wait(now time.Time) {
	if t.disturbed() {
		return
	}
	if !t.back.IsZero() && now.Sub(t.back) >= measuredIn {
		t.measure()
		if len(t.queue) == 0 {
			t.again()
		}
		if len(t.queue) == 0 {
			t.end(t.close(told(AllCut)))
			return
		}
	}
	if t.waited() >= t.waitFor() {
		t.next()
	}
}

// measuredIn is how long after the moment a window of a fall is read.
const measuredIn = settle + fast + 250*time.Millisecond

// waitFor is how long is waited.
func (t *BalanceTest) waitFor() time.Duration {
	switch {
	case t.ask == AskBase && len(t.quiets) == 0:
		return firstBase
	case t.ask == AskBase:
		return baseFor + apart + time.Second
	case t.flashes:
		return flashCool
	}
	return cutsApart
}

// next asks for the next cut, or ends the test.
func (t *BalanceTest) next() {
	if len(t.queue) == 0 {
		t.again()
	}
	if len(t.queue) == 0 {
		t.end(t.close(told(AllCut)))
		return
	}
	t.turn, t.queue = t.queue[0], t.queue[1:]
	t.number = t.of - len(t.queue)
	t.void, t.off = Nothing, time.Time{}
	t.falling, t.rising = time.Time{}, time.Time{}
	t.measureIdle(t.last)
	t.require(AskUnplug, Asked)
}

// again begins another round with the cylinders that are in doubt, or were not measured, while there is one.
func (t *BalanceTest) again() {
	if t.round >= t.cfg.Rounds {
		return
	}
	found := t.Result()
	for i, cylinder := range t.cfg.Cylinders {
		if !t.skipped[i] && (slices.Contains(found.Doubtful, cylinder) || len(t.falls[i]) == 0) {
			t.queue = append(t.queue, i)
		}
	}
	if t.of = len(t.queue); t.of > 0 {
		t.round, t.number = t.round+1, 0
	}
}

// measureIdle takes the idle before a cut.
func (t *BalanceTest) measureIdle(now time.Time) {
	t.base = t.trace.mean(now.Add(-baseFor), now)
	t.unrest = t.trace.unrest(now.Add(-baseFor), now)
}

// awaitCut waits for somebody to unplug the injector.
func (t *BalanceTest) awaitCut(now time.Time) {
	place := t.turn
	if t.disturbed() {
		t.queue = append([]int{place}, t.queue...)
		return
	}
	if t.falling.IsZero() {
		t.measureIdle(now.Add(-apart)) // it may wander while somebody finds the connector
	}
	t.remind()
}

// cut takes the injector as unplugged since a time.
func (t *BalanceTest) cut(since, now time.Time) {
	t.rest(since.Add(-apart))
	t.off, t.last = since, now
	t.countdown = int(LongestOff.Seconds()) + 1
	t.require(AskHold, Asked)
}

// hold measures the fall.
func (t *BalanceTest) hold(now time.Time) {
	if t.wrong.Kind != Nothing && t.void == Nothing {
		t.void = IdleLeft
	}
	if now.Sub(t.off) < measuredIn {
		return
	}
	t.require(AskPlugIn, Asked)
	t.count(now)
}

// measure takes the fall of a cylinder that works again.
func (t *BalanceTest) measure() {
	fall, off := t.trace.fall(t.off, t.back), t.back.Sub(t.off)
	t.back = time.Time{}
	if math.IsNaN(fall) && t.void == Nothing {
		t.void = ReadSeldom
	}
	if t.void != Nothing {
		t.say(Void, Saying{Kind: CutVoid, Cylinder: t.cylinder(), Why: t.void})
		if t.voids[t.turn]++; t.voids[t.turn] <= mostVoids && !t.skipped[t.turn] {
			t.queue = append(t.queue, t.turn)
			t.of++
		}
		return
	}
	t.falls[t.turn] = append(t.falls[t.turn], fall)
	t.done, t.offs = append(t.done, Fall{t.cylinder(), t.round, fall}), append(t.offs, off)
	t.say(Measured, Saying{Kind: FallMeasured, Cylinder: t.cylinder(), Value: fall})
}

// count counts down what is left of the time that a cylinder may be off.
func (t *BalanceTest) count(now time.Time) {
	left := LongestOff - now.Sub(t.off)
	if left <= 0 {
		if now.Sub(t.late) >= lateEvery {
			t.late = now
			t.say(Late, Saying{Kind: DoPlugInNow, Cylinder: t.cylinder(), Value: now.Sub(t.off).Seconds()})
		}
		return
	}
	if second := int(math.Ceil(left.Seconds())); left <= countFrom && second < t.countdown {
		t.countdown = second
		t.say(Counted, Saying{Kind: SecondLeft, Value: float64(second)})
	}
}

// plugged takes the injector as plugged in again since a time.
func (t *BalanceTest) plugged(since, now time.Time) {
	t.last, t.back = now, since
	t.calm = now.Add(recovers)
	t.require(AskCool, Asked)
}

// lost has the cylinder plugged in: nobody could count for it.
func (t *BalanceTest) lost(at time.Time) {
	if t.ask != AskHold && t.ask != AskPlugIn {
		return
	}
	t.last = at
	t.void = CarNotHeard
	if t.ask == AskHold {
		t.require(AskPlugIn, Asked)
	}
	t.late = at
	t.say(Late, Saying{Kind: DoPlugInLost, Cylinder: t.cylinder()})
}

// cylinder is the one that is cut now; 0 for none.
func (t *BalanceTest) cylinder() int {
	if t.turn < 0 {
		return 0
	}
	return t.cfg.Cylinders[t.turn]
}

// asked is what is asked now.
func (t *BalanceTest) asked() Saying {
	switch t.ask {
	case AskReady:
		return cmp.Or(t.wrong, t.cold, told(DoReady))
	case AskBase:
		return told(DoLeaveBase)
	case AskUnplug:
		return Saying{Kind: DoUnplug, Cylinder: t.cylinder()}
	case AskHold:
		return Saying{Kind: DoLeaveOff, Cylinder: t.cylinder()}
	case AskPlugIn:
		return Saying{Kind: DoPlugIn, Cylinder: t.cylinder()}
	case AskCool:
		if t.flashes {
			return told(DoLeaveFlash)
		}
		return told(DoLeaveCool)
	}
	return Saying{}
}

func (t *BalanceTest) place() Place {
	p := Place{Cylinder: t.cylinder(), Number: t.number, Of: t.of, Round: t.round}
	p.Left, p.Length = t.left()
	return p
}

// left is how long is still waited, and of how much; both 0 where nobody knows.
func (t *BalanceTest) left() (left, length time.Duration) {
	switch t.ask {
	case AskBase, AskCool:
		length = t.waitFor()
		left = length - t.waited()
	case AskHold, AskPlugIn:
		length = LongestOff
		left = length - t.last.Sub(t.off)
	}
	return max(left, 0), length
}

func (t *BalanceTest) begun() bool { return t.ask != AskNothing }

// skip leaves the present cylinder out. One that is unplugged is asked to be plugged in first.
func (t *BalanceTest) skip() {
	if t.turn < 0 {
		return
	}
	switch t.ask {
	case AskUnplug:
		t.skipped[t.turn] = true
		t.say(Skipped, Saying{Kind: CylinderLeftOut, Cylinder: t.cylinder()})
		t.next()
	case AskHold, AskPlugIn:
		t.skipped[t.turn] = true
		t.void = LeftOutMeanwhile
	}
}

// repeat cuts the last measured cylinder again in place of what it showed.
func (t *BalanceTest) repeat() {
	if len(t.done) == 0 || t.ask == AskHold || t.ask == AskPlugIn || !t.back.IsZero() {
		return
	}
	was := t.done[len(t.done)-1]
	t.done, t.offs = t.done[:len(t.done)-1], t.offs[:len(t.offs)-1]
	place := slices.Index(t.cfg.Cylinders, was.Cylinder)
	t.falls[place] = t.falls[place][:len(t.falls[place])-1]
	if t.ask == AskUnplug {
		t.queue = append([]int{t.turn}, t.queue...)
	}
	t.queue = append([]int{place}, t.queue...)
	t.of = max(t.of, len(t.queue))
	if t.ask == AskUnplug {
		t.next()
	}
}

func (t *BalanceTest) stop() Saying {
	if t.ask == AskHold || t.ask == AskPlugIn {
		return t.close(Saying{Kind: StoppedWhileOff, Cylinder: t.cylinder()})
	}
	return t.close(told(TestStopped))
}

// close puts the plan to its end.
func (t *BalanceTest) close(how Saying) Saying {
	if t.ask == AskBase || t.ask == AskCool || t.ask == AskUnplug {
		t.rest(t.last)
	}
	t.turn, t.number = -1, t.of
	return how
}

func (t *BalanceTest) status(s *Status) {
	s.Falls = slices.Clone(t.done)
	if t.ask == AskHold || t.ask == AskPlugIn {
		s.Off = t.last.Sub(t.off)
	}
}

// What a balance test has no use for.
func (t *BalanceTest) window(*misfire.Window) {}
func (t *BalanceTest) asleep(time.Time)       {}

// Result returns what was measured by now.
func (t *BalanceTest) Result() BalanceResult {
	stretches := t.quiets
	if !t.calm.IsZero() && (t.ask == AskBase || t.ask == AskCool || t.ask == AskUnplug) {
		stretches = append(slices.Clone(stretches), quiet{t.calm, t.last})
	}
	base := t.base
	if base == 0 {
		base = math.NaN()
	}
	return result(t.cfg.Cylinders, t.falls, base, t.trace.chance(stretches, t.usuallyOff()))
}

// usuallyOff is how long a cylinder was off in the mean.
func (t *BalanceTest) usuallyOff() time.Duration {
	if len(t.offs) == 0 {
		return usualOff
	}
	var sum time.Duration
	for _, off := range t.offs {
		sum += off
	}
	return sum / time.Duration(len(t.offs))
}
