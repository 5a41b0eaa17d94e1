package balance

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/track"
	"stumble/obd"
)

// Config is what a test is to do.
type Config struct {
	Cylinders []int // to cut, in this order
	Rounds    int   // the most cuts of a cylinder; those that are in doubt after one are cut again. 0 is MostRounds
}

// MostRounds is how often a cylinder is cut at the most where nothing else is said.
const MostRounds = 3

// Limit is the longest that a cylinder may be off (common practice, no source: trade-checks "cylinder cut test,
// duration").
const Limit = 10 * time.Second

const (
	baseFor   = 8 * time.Second        // of idle before a cut, to see a fall against
	apart     = 500 * time.Millisecond // of a cut, which nobody times to the moment
	usualOff  = 6 * time.Second        // that a cylinder is off, where none was yet
	firstBase = 20 * time.Second       // of idle before the first cut: it tells the noise too
	coolFor   = 30 * time.Second       // between cuts; a choice
	flashCool = time.Minute            // while the lamp flashes
	recovers  = 10 * time.Second       // until idle is what it was after a cylinder works again
	countFrom = 5 * time.Second        // before the limit, each second is counted
	lateEvery = 2 * time.Second
	remindGap = 20 * time.Second
	reaction  = 500 * time.Millisecond // from unplugging to saying so
	twice     = 800 * time.Millisecond // a key pressed again within it is the same press
	warm      = 70.0                   // degC, from which an engine counts as warm in this program
	fastest   = 1200.0                 // rpm that can still be an idle
	surely    = 4.0                    // standard deviations of a moment's mean that are no chance
	leastFall = 0.02                   // of the idle: a fall of less is not taken for a cut
	mostVoids = 2                      // cuts of a cylinder that do not count before it is given up
	sustained = 800 * time.Millisecond // that a fall must last to be taken for a cut
)

// Runner leads through one test. It is for one goroutine.
type Runner struct {
	cfg  Config
	tell func(Event)

	trace  trace
	car    track.State
	quiets []quiet
	falls  [][]float64 // by place in cfg.Cylinders
	done   []Fall

	queue  []int // places still to be cut in this round
	number int   // of the cut in its round
	of     int
	round  int
	place  int // of the cylinder being cut; -1: none

	ask     Ask
	since   time.Time // of the ask
	last    time.Time
	spoken  time.Time
	calm    time.Time // since when the idle has been undisturbed
	wrong   string    // what keeps the engine from idling
	cold    string    // what keeps it from being warm
	flashes bool
	skipped []bool // by place
	voids   []int  // cuts that did not count, by place
	over    bool
	ended   string // why the test is over

	base      float64         // before the cut
	unrest    float64         // of a moment's mean
	off       time.Time       // when the cylinder was cut
	back      time.Time       // when it worked again; zero: it does not, or its fall is measured
	offs      []time.Duration // of the falls that were measured
	falling   time.Time       // since when the speed is down; zero: it is not
	rising    time.Time
	void      string // why this cut does not count
	pressed   time.Time
	countdown int       // the second that was counted last
	late      time.Time // when it was last said that the time is over
}

// NewRunner begins a test; tell hears every event, from within the other methods.
func NewRunner(cfg Config, tell func(Event)) *Runner {
	if cfg.Rounds <= 0 {
		cfg.Rounds = MostRounds
	}
	r := &Runner{cfg: cfg, tell: tell, place: -1, falls: make([][]float64, len(cfg.Cylinders)), skipped: make([]bool, len(cfg.Cylinders)), voids: make([]int, len(cfg.Cylinders))}
	for i := range cfg.Cylinders {
		r.queue = append(r.queue, i)
	}
	r.round, r.of = 1, len(r.queue)
	return r
}

// Over reports whether the test has ended.
func (r *Runner) Over() bool { return r.over }

// Add takes the next sample.
func (r *Runner) Add(s *obd.Sample) {
	for i := range s.Readings {
		if r.car.Take(&s.Readings[i], track.Instant(s))&track.Turned == 0 {
			continue
		}
		if at := r.car.RPM.At; len(r.trace) == 0 || at.After(r.trace[len(r.trace)-1].at) {
			r.trace = append(r.trace, reading{at, r.car.RPM.V})
			r.look(at)
		}
	}
}

// look looks for the fall and the rise of a cut in the newest reading.
func (r *Runner) look(at time.Time) {
	v := r.trace.recent(len(r.trace) - 1)
	if r.over || math.IsNaN(v) || math.IsNaN(r.base) || r.base == 0 {
		return
	}
	step := max(surely*r.unrest, leastFall*r.base)
	switch r.ask {
	case AskUnplug:
		if v >= r.base-step {
			r.falling = time.Time{}
		} else if r.falling.IsZero() {
			r.falling = at
		} else if at.Sub(r.falling) >= sustained {
			r.cut(r.onset(r.falling, -1), at)
		}
	case AskPlugIn:
		// Idle control has made up for the cylinder: as it works again the engine speeds up beyond its idle.
		if v <= r.base+step {
			r.rising = time.Time{}
		} else if r.rising.IsZero() {
			r.rising = at
		} else if at.Sub(r.rising) >= sustained {
			r.plugged(r.onset(r.rising, 1), at)
		}
	}
}

// onset goes back from a fall that is sure (sign -1), or a rise (1), to where the speed was last at its idle.
func (r *Runner) onset(sure time.Time, sign float64) time.Time {
	for i := len(r.trace) - 1; i > 0; i-- {
		if p := r.trace[i]; !p.at.After(sure) && (sign*(p.rpm-r.base) <= r.unrest || sure.Sub(p.at) > settle+fast) {
			return p.at
		}
	}
	return sure
}

// Confirm says that what was asked for has been done: the engine is ready, the injector is unplugged, or it is plugged
// in again.
func (r *Runner) Confirm(at time.Time) {
	if r.over || at.Sub(r.pressed) < twice {
		return
	}
	r.pressed, r.last = at, at
	switch r.ask {
	case AskReady:
		if r.wrong == "" { // an engine that is not warm is measured where somebody says so
			r.calm = at
			r.require(AskBase)
		}
	case AskUnplug:
		if r.falling.IsZero() {
			r.cut(at.Add(-reaction), at)
		} else {
			r.cut(r.onset(r.falling, -1), at)
		}
	case AskPlugIn:
		switch {
		case at.Sub(r.since) < twice:
		case r.rising.IsZero():
			r.plugged(at.Add(-reaction), at)
		default:
			r.plugged(r.onset(r.rising, 1), at)
		}
	}
}

// Advance takes the time and what the tally has seen by then. Call it a few times a second, in order of time.
func (r *Runner) Advance(now time.Time, s *misfire.Summary) {
	if r.over {
		return
	}
	r.last = now
	r.flashes = s.Live.MIL == misfire.MILFlashing
	r.wrong, r.cold = wrong(&s.Live), cold(&s.Live)
	switch r.ask {
	case AskNothing:
		r.calm = now
		r.require(AskReady)
	case AskReady:
		if r.wrong == "" && r.cold == "" {
			r.calm = now
			r.require(AskBase)
		}
		r.remind()
	case AskBase, AskCool:
		r.wait(now)
	case AskUnplug:
		r.awaitCut(now)
	case AskHold:
		r.hold(now)
	case AskPlugIn:
		r.count(now)
	}
}

// wrong says what keeps the engine from being at idle; empty while nothing does.
func wrong(l *misfire.Live) string {
	switch {
	case !l.Running:
		return "start the engine in Park"
	case l.Gear.State.Loaded() || l.Gear.State == gear.Moving || l.Speed > 0:
		return "stop, and select Park or Neutral"
	case l.RPM > fastest:
		return "foot off the pedal: let it idle"
	}
	return ""
}

// cold asks for a warm engine; empty where it is, or nobody knows.
func cold(l *misfire.Live) string {
	if l.Coolant < warm {
		return fmt.Sprintf("let it warm up (the coolant has %.0f of %.0f degrees), or press Enter", l.Coolant, warm)
	}
	return ""
}

// disturbed goes back to the beginning of a cut when the engine is not at idle.
func (r *Runner) disturbed() bool {
	if r.wrong == "" {
		return false
	}
	r.rest(r.last)
	if !r.back.IsZero() {
		r.void = disturbance
		r.measure()
	}
	r.place = -1
	r.require(AskReady)
	return true
}

// rest ends the quiet stretch that was going on.
func (r *Runner) rest(until time.Time) {
	if !r.calm.IsZero() && until.After(r.calm) {
		r.quiets = append(r.quiets, quiet{r.calm, until})
	}
	r.calm = time.Time{}
}

// wait measures the idle, or lets the catalyst cool, and then asks for the next cut.
func (r *Runner) wait(now time.Time) {
	if r.disturbed() {
		return
	}
	if !r.back.IsZero() && now.Sub(r.back) >= measuredIn {
		r.measure()
		if len(r.queue) == 0 {
			r.again()
		}
		if len(r.queue) == 0 {
			r.end(allCut)
			return
		}
	}
	if now.Sub(r.since) >= r.waitFor() {
		r.next()
	}
}

// measuredIn is how long after the moment a window of a fall is read.
const measuredIn = settle + fast + 250*time.Millisecond

// waitFor is how long is waited.
func (r *Runner) waitFor() time.Duration {
	switch {
	case r.ask == AskBase && len(r.quiets) == 0:
		return firstBase
	case r.ask == AskBase:
		return baseFor + apart + time.Second
	case r.flashes:
		return flashCool
	}
	return coolFor
}

// next asks for the next cut, or ends the test.
func (r *Runner) next() {
	if len(r.queue) == 0 {
		r.again()
	}
	if len(r.queue) == 0 {
		r.end(allCut)
		return
	}
	r.place, r.queue = r.queue[0], r.queue[1:]
	r.number = r.of - len(r.queue)
	r.void, r.off = "", time.Time{}
	r.falling, r.rising = time.Time{}, time.Time{}
	r.measureIdle(r.last)
	r.require(AskUnplug)
}

// again begins another round with the cylinders that are in doubt, or were not measured, while there is one.
func (r *Runner) again() {
	if r.round >= r.cfg.Rounds {
		return
	}
	found := r.Result()
	for i, cylinder := range r.cfg.Cylinders {
		if !r.skipped[i] && (slices.Contains(found.Doubtful, cylinder) || len(r.falls[i]) == 0) {
			r.queue = append(r.queue, i)
		}
	}
	if r.of = len(r.queue); r.of > 0 {
		r.round, r.number = r.round+1, 0
	}
}

// measureIdle takes the idle before a cut.
func (r *Runner) measureIdle(now time.Time) {
	r.base = r.trace.mean(now.Add(-baseFor), now)
	r.unrest = r.trace.unrest(now.Add(-baseFor), now)
}

// awaitCut waits for somebody to unplug the injector.
func (r *Runner) awaitCut(now time.Time) {
	place := r.place
	if r.disturbed() {
		r.queue = append([]int{place}, r.queue...)
		return
	}
	if r.falling.IsZero() {
		r.measureIdle(now.Add(-apart)) // it may wander while somebody finds the connector
	}
	r.remind()
}

// cut takes the injector as unplugged since a time.
func (r *Runner) cut(since, now time.Time) {
	r.rest(since.Add(-apart))
	r.off, r.last = since, now
	r.countdown = int(Limit.Seconds()) + 1
	r.require(AskHold)
}

// hold measures the fall.
func (r *Runner) hold(now time.Time) {
	if r.wrong != "" && r.void == "" {
		r.void = disturbance
	}
	if now.Sub(r.off) < measuredIn {
		return
	}
	r.require(AskPlugIn)
	r.count(now)
}

const (
	disturbance = "the engine did not stay at idle"
	allCut      = "every cylinder was cut"
)

// measure takes the fall of a cylinder that works again.
func (r *Runner) measure() {
	fall, off := r.trace.fall(r.off, r.back), r.back.Sub(r.off)
	r.back = time.Time{}
	if math.IsNaN(fall) && r.void == "" {
		r.void = "the engine's speed was read too seldom"
	}
	if r.void != "" {
		r.say(Void, fmt.Sprintf("this cut of cylinder %d does not count: %s", r.cylinder(), r.void))
		if r.voids[r.place]++; r.voids[r.place] <= mostVoids && !r.skipped[r.place] {
			r.queue = append(r.queue, r.place)
			r.of++
		}
		return
	}
	r.falls[r.place] = append(r.falls[r.place], fall)
	r.done, r.offs = append(r.done, Fall{r.cylinder(), r.round, fall}), append(r.offs, off)
	r.say(Measured, fmt.Sprintf("cylinder %d moves the idle by %s rpm", r.cylinder(), whole(fall)))
}

// count counts down what is left of the time that a cylinder may be off.
func (r *Runner) count(now time.Time) {
	left := Limit - now.Sub(r.off)
	if left <= 0 {
		if now.Sub(r.late) >= lateEvery {
			r.late = now
			r.say(Late, fmt.Sprintf("plug cylinder %d in now, and press Enter: it has been off for %.0f seconds", r.cylinder(), now.Sub(r.off).Seconds()))
		}
		return
	}
	if second := int(math.Ceil(left.Seconds())); left <= countFrom && second < r.countdown {
		r.countdown = second
		r.say(Counted, fmt.Sprintf("%d", second))
	}
}

// plugged takes the injector as plugged in again since a time.
func (r *Runner) plugged(since, now time.Time) {
	r.last, r.back = now, since
	r.calm = now.Add(recovers)
	r.require(AskCool)
}

// Lost says that nothing is heard of the car any more. Nobody could count for a cylinder that is off.
func (r *Runner) Lost(at time.Time) {
	if r.over || r.ask != AskHold && r.ask != AskPlugIn {
		return
	}
	r.last = at
	r.void = "nothing was heard of the car"
	if r.ask == AskHold {
		r.require(AskPlugIn)
	}
	r.late = at
	r.say(Late, fmt.Sprintf("nothing is heard of the car: plug cylinder %d in now", r.cylinder()))
}

// cylinder is the one that is cut now; 0 for none.
func (r *Runner) cylinder() int {
	if r.place < 0 {
		return 0
	}
	return r.cfg.Cylinders[r.place]
}

// require asks for something and says so.
func (r *Runner) require(ask Ask) {
	r.ask, r.since = ask, r.last
	r.say(Asked, r.asked())
}

// asked is what is asked now, in words.
func (r *Runner) asked() string {
	switch r.ask {
	case AskReady:
		if say := cmp.Or(r.wrong, r.cold); say != "" {
			return say
		}
		return "let it idle in Park or Neutral, loads off"
	case AskBase:
		return "leave it alone: the idle is measured"
	case AskUnplug:
		return fmt.Sprintf("unplug the injector of cylinder %d, then press Enter", r.cylinder())
	case AskHold:
		return fmt.Sprintf("cylinder %d is off: leave it so, the fall is measured", r.cylinder())
	case AskPlugIn:
		return fmt.Sprintf("plug the injector of cylinder %d in again, then press Enter", r.cylinder())
	case AskCool:
		if r.flashes {
			return "leave it alone: the lamp flashes, the catalyst has to cool; x stops the test"
		}
		return "leave it alone: the catalyst cools"
	}
	return r.ended
}

// remind asks again for what was not done yet.
func (r *Runner) remind() {
	if r.last.Sub(r.spoken) >= remindGap {
		r.say(Asked, r.asked())
	}
}

func (r *Runner) say(kind Kind, text string) {
	r.spoken = r.last
	e := Event{At: r.last, Kind: kind, Ask: r.ask, Cylinder: r.cylinder(), Number: r.number, Of: r.of, Round: r.round, Text: text}
	e.Left, _ = r.left()
	r.tell(e)
}

// left is how long is still waited, and of how much; both 0 where nobody knows.
func (r *Runner) left() (left, length time.Duration) {
	switch r.ask {
	case AskBase, AskCool:
		length = r.waitFor()
		left = length - r.last.Sub(r.since)
	case AskHold, AskPlugIn:
		length = Limit
		left = length - r.last.Sub(r.off)
	}
	return max(left, 0), length
}

// Skip leaves the present cylinder out. One that is unplugged is asked to be plugged in first.
func (r *Runner) Skip(at time.Time) {
	if r.over || r.place < 0 {
		return
	}
	r.last = at
	switch r.ask {
	case AskUnplug:
		r.skipped[r.place] = true
		r.say(Skipped, fmt.Sprintf("cylinder %d is left out", r.cylinder()))
		r.next()
	case AskHold, AskPlugIn:
		r.skipped[r.place] = true
		r.void = "it was left out"
	}
}

// Repeat cuts the last measured cylinder again in place of what it showed.
func (r *Runner) Repeat(at time.Time) {
	if r.over || len(r.done) == 0 || r.ask == AskHold || r.ask == AskPlugIn || !r.back.IsZero() {
		return
	}
	r.last = at
	was := r.done[len(r.done)-1]
	r.done, r.offs = r.done[:len(r.done)-1], r.offs[:len(r.offs)-1]
	place := slices.Index(r.cfg.Cylinders, was.Cylinder)
	r.falls[place] = r.falls[place][:len(r.falls[place])-1]
	if r.ask == AskUnplug {
		r.queue = append([]int{r.place}, r.queue...)
	}
	r.queue = append([]int{place}, r.queue...)
	r.of = max(r.of, len(r.queue))
	if r.ask == AskUnplug {
		r.next()
	}
}

// Stop ends the test.
func (r *Runner) Stop(at time.Time) {
	if r.over {
		return
	}
	r.last = at
	if r.ask == AskHold || r.ask == AskPlugIn {
		r.end(fmt.Sprintf("the test was stopped: plug the injector of cylinder %d in again", r.cylinder()))
		return
	}
	r.end("the test was stopped")
}

func (r *Runner) end(why string) {
	if r.ask == AskBase || r.ask == AskCool || r.ask == AskUnplug {
		r.rest(r.last)
	}
	r.over, r.ask, r.place, r.ended = true, AskNothing, -1, why
	r.number = r.of
	r.say(Over, why)
}

// Status is nil before the first Advance and after the end.
func (r *Runner) Status() *Status {
	if r.over || r.ask == AskNothing {
		return nil
	}
	s := &Status{Ask: r.ask, Cylinder: r.cylinder(), Number: r.number, Of: r.of, Round: r.round, Say: r.asked(), Falls: slices.Clone(r.done)}
	s.Left, s.Length = r.left()
	if r.ask == AskHold || r.ask == AskPlugIn {
		s.Off = r.last.Sub(r.off)
	}
	return s
}

// Result is what was measured by now.
func (r *Runner) Result() Result {
	stretches := r.quiets
	if !r.calm.IsZero() && (r.ask == AskBase || r.ask == AskCool || r.ask == AskUnplug) {
		stretches = append(slices.Clone(stretches), quiet{r.calm, r.last})
	}
	base := r.base
	if base == 0 {
		base = math.NaN()
	}
	return result(r.cfg.Cylinders, r.falls, base, r.trace.chance(stretches, r.usuallyOff()))
}

// usuallyOff is how long a cylinder was off in the mean.
func (r *Runner) usuallyOff() time.Duration {
	if len(r.offs) == 0 {
		return usualOff
	}
	var sum time.Duration
	for _, off := range r.offs {
		sum += off
	}
	return sum / time.Duration(len(r.offs))
}
