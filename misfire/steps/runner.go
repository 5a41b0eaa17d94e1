package steps

import (
	"fmt"
	"math"
	"time"

	"stumble/misfire"
)

// Config is what a test is to do, and what is known before it begins.
type Config struct {
	Plan []Step
	// KeyOff is for a car that brings its counters up to date only when the ignition is turned off: every step is
	// a driving cycle of its own, and is read after it. It need not be set for a car that the tally finds to be one.
	KeyOff bool
	// Known is what an earlier drive of this car found, to be used until this one finds it out itself.
	Known Known
}

// Known is what is known of a car's fault and counters. The zero value is nothing.
type Known struct {
	Rate    float64 // misses per 1,000 firings of the cylinder that misses
	Phi     float64 // its dispersion
	Refresh misfire.Refresh
}

// KnownFrom is what an earlier drive found.
func KnownFrom(s *misfire.Summary) Known {
	k := Known{Refresh: s.Refresh}
	k.Rate, k.Phi = suspect(s)
	return k
}

const (
	hole      = 2 * time.Second  // a longer time without news counts for nothing
	coolFor   = time.Minute      // common practice, no source
	stallFor  = 5 * time.Second  // seconds, not minutes: the converter heats up (common practice, no source)
	offFor    = 15 * time.Second // an ignition turned off for as long is off for every module
	onFor     = 5 * time.Second  // before what is read with the ignition on again is believed
	firstLook = 5 * time.Second  // until it is known whether the car counts misses
	speakWait = 6 * time.Second  // a wrong condition lasts as long before it is spoken of
	speakGap  = 20 * time.Second // and is spoken of again so long after
)

// Runner leads through the steps of one test. It is for one goroutine.
type Runner struct {
	cfg  Config
	tell func(Event)

	runs    []run // one a step of the plan
	order   []int // places in the plan, in the order of running
	at      int   // place in order
	again   bool  // steps that turned out too short were taken up again
	breaks  int   // steps broken off for the catalyst's sake
	ask     Ask
	since   time.Time // of the ask
	first   time.Time // of Advance
	last    time.Time
	ended   time.Time // when the last step did
	turned  float64   // cadence.revs then
	over    bool
	cadence cadence

	now    *misfire.Summary // as last given
	wrong  string           // what is wrong now
	wrongs time.Time        // since when
	spoken time.Time        // when something was last said
	held   bool             // this visit's condition was reached and said so
}

// run is what became of one step of the plan.
type run struct {
	outcome Outcome
	why     string        // it was broken off
	in      time.Duration // in the condition
	revs    float64       // of it
	need    need
	burst   time.Duration // of the burst that goes on
	stalled time.Duration
}

// NewRunner begins a test; tell hears every event, from within the other methods.
func NewRunner(cfg Config, tell func(Event)) *Runner {
	r := &Runner{cfg: cfg, tell: tell, runs: make([]run, len(cfg.Plan)), at: -1}
	for i := range cfg.Plan {
		r.order = append(r.order, i)
	}
	return r
}

// Over reports whether the test has ended.
func (r *Runner) Over() bool { return r.over }

// step and run are the present ones.
func (r *Runner) step() *Step { return &r.cfg.Plan[r.order[r.at]] }
func (r *Runner) run() *run   { return &r.runs[r.order[r.at]] }

// Advance takes the time and what the tally has seen by then. Call it a few times a second, in order of time.
func (r *Runner) Advance(now time.Time, s *misfire.Summary) {
	if r.over {
		return
	}
	past := now.Sub(r.last)
	if r.last.IsZero() || past > hole || past < 0 {
		past = 0
		if r.ask == AskKeyOn {
			r.since = now // it has just woken: what the tally says of it may be of before
		}
	}
	r.last, r.now = now, s
	r.cadence.add(past, s)
	if r.first.IsZero() {
		r.first = now
	}
	if r.at < 0 {
		if counts(s) || now.Sub(r.first) >= firstLook {
			r.next()
		}
		return
	}
	switch r.ask {
	case AskStart:
		if s.Live.Running {
			r.require(AskCondition, Asked)
		}
		r.remind()
	case AskCondition:
		r.work(past)
	case AskRest:
		if !r.eased() && now.Sub(r.since) >= r.step().Rest {
			r.require(AskCondition, Asked)
		}
	case AskCool:
		r.cool()
	case AskEngineOff:
		if !s.Live.Running {
			r.require(AskKeyOff, Asked)
		}
		r.remind()
	case AskKeyOff:
		if now.Sub(r.since) >= offFor {
			r.require(AskKeyOn, Asked)
		}
	case AskKeyOn:
		r.read()
	case AskLast:
		if left := r.toLast(); left <= 0 {
			r.end(allDone)
		}
	}
}

// remind asks again for what was not done yet.
func (r *Runner) remind() {
	if r.last.Sub(r.spoken) >= speakGap {
		r.say(Asked, r.asked())
	}
}

// asked is what is asked now, in words.
func (r *Runner) asked() string {
	switch r.ask {
	case AskStart:
		return "start the engine in Park"
	case AskCondition:
		if r.wrong != "" {
			return r.wrong
		}
		return r.step().Instruction
	case AskRest:
		return "ease off, drive on easily"
	case AskCool:
		return r.run().why
	case AskEngineOff:
		return "stop, select Park, engine off, leave the ignition on" // so that the tally sees it stop
	case AskKeyOff:
		return "ignition off, wait ten seconds"
	case AskKeyOn:
		return "ignition on, engine off: the counts are read"
	case AskLast:
		return "stop, select Park, let it idle: the last counts are on their way"
	}
	return ""
}

const allDone = "every step is done"

// Asleep says that the car has stopped answering: its ignition is off.
func (r *Runner) Asleep(at time.Time) {
	r.last = at
	if r.ask == AskEngineOff || r.ask == AskKeyOff {
		r.require(AskKeyOn, Asked)
	}
}

// read goes on once the counters are read.
func (r *Runner) read() {
	switch {
	case r.last.Sub(r.since) < onFor:
	case r.now.Live.Running:
		r.run().why = "the engine was started before the counts were read: they are lost"
		r.next()
	case r.isRead():
		r.next()
	default:
		r.remind()
	}
}

// isRead reports whether every counter was read since the ignition is on again.
func (r *Runner) isRead() bool {
	l := &r.now.Live
	on := r.last.Sub(r.since)
	for _, age := range l.CountAge {
		if age >= on {
			return false
		}
	}
	return true
}

// require asks for something and says so.
func (r *Runner) require(ask Ask, kind Kind) {
	r.ask, r.since = ask, r.last
	r.wrong, r.held = "", false
	r.run().burst = 0
	r.say(kind, r.asked())
}

func (r *Runner) say(kind Kind, text string) {
	r.spoken = r.last
	e := Event{At: r.last, Kind: kind, Text: text, Ask: r.ask}
	if r.at >= 0 && r.at < len(r.order) {
		e.Step, e.Number, e.Of, e.Left = r.step(), r.order[r.at]+1, len(r.cfg.Plan), r.left()
	}
	if r.ask == AskLast {
		e.Left = r.toLast()
	}
	r.tell(e)
}

// next begins the next step, or ends the test.
func (r *Runner) next() {
	r.at++
	if r.at == len(r.order) && !r.again {
		r.again = true
		r.order = append(r.order, r.tooShort()...)
	}
	switch {
	case r.at < len(r.order):
		r.begin(Begun)
	case r.at > 0 && r.toLast() > 0:
		r.at-- // the screen goes on to show the last step
		r.require(AskLast, Asked)
	default:
		r.end(allDone)
	}
}

func (r *Runner) begin(kind Kind) {
	r.run().outcome = Running
	r.run().need = r.needed()
	r.run().stalled = 0
	if r.keyOff() && !r.now.Live.Running {
		r.require(AskStart, kind)
		return
	}
	r.require(AskCondition, kind)
}

func (r *Runner) end(why string) {
	r.over, r.ask = true, AskNothing
	r.at = len(r.order)
	r.say(Over, why)
}

// work is a moment of the step itself.
func (r *Runner) work(past time.Duration) {
	if r.eased() {
		return
	}
	live := &r.now.Live
	was := r.wrong
	r.wrong = r.step().Wrong(live)
	if r.step().stalls(live) {
		if r.run().stalled += past; r.run().stalled > stallFor {
			r.breakOff("gas against the brake heats the converter: foot off the pedal, select Park, let it cool")
			return
		}
	}
	if r.wrong != "" {
		r.correct(was)
		return
	}
	r.count(past)
}

// correct says what is wrong, once it has been so for a while.
func (r *Runner) correct(was string) {
	if r.wrong != was {
		r.wrongs = r.last
	}
	switch {
	case r.held && r.last.Sub(r.wrongs) >= speakWait:
		r.held = false // to be told when it is right again
		r.say(Asked, r.wrong)
	case !r.held: // a driver who was just told needs a while
		r.remind()
	}
}

// count adds a moment in the condition.
func (r *Runner) count(past time.Duration) {
	u := r.run()
	u.in += past
	u.revs += past.Minutes() * r.now.Live.RPM
	u.burst += past
	left := r.left()
	switch {
	case left <= 0:
		r.finish()
	case !r.held:
		r.held = true
		r.say(Held, "keep it so")
	case r.step().Burst > 0 && u.burst >= r.step().Burst:
		r.require(AskRest, Asked)
	}
}

// finish ends the step.
func (r *Runner) finish() {
	u := r.run()
	u.outcome = Done
	r.ended, r.turned = r.last, r.cadence.revs
	r.say(Ended, fmt.Sprintf("%s in the condition, %.0f firings of each cylinder", minutes(u.in), math.Floor(u.firings())))
	r.after()
}

// after goes on behind a step.
func (r *Runner) after() {
	if r.keyOff() && r.now.Live.Running {
		r.require(AskEngineOff, Asked)
		return
	}
	r.next()
}

// eased breaks the step off when the catalyst is at risk, and reports whether it did.
func (r *Runner) eased() bool {
	if !r.now.Verdict.EaseOff {
		return false
	}
	r.breaks++
	if r.breaks > 1 {
		r.run().outcome, r.run().why = BrokenOff, riskAgain
		r.say(Broken, riskAgain)
		r.end(atRisk)
		return true
	}
	r.breakOff("ease off: this misfire can overheat the catalyst; stop clear of anything that burns, idle in Park or switch off")
	return true
}

const (
	riskAgain = "the misfire is as heavy as before: it can overheat the catalyst"
	atRisk    = "the catalyst is at risk: park clear of anything that burns, engine off"
)

func (r *Runner) breakOff(why string) {
	r.run().outcome, r.run().why = BrokenOff, why
	r.require(AskCool, Broken)
}

// cool waits until what was overheated has cooled.
func (r *Runner) cool() {
	switch {
	case r.last.Sub(r.since) < coolFor:
	case r.now.Verdict.EaseOff:
		r.end(atRisk)
	default:
		r.after()
	}
}

// Skip leaves the present step out.
func (r *Runner) Skip(at time.Time) {
	if !r.active(at) {
		return
	}
	switch r.ask {
	case AskEngineOff, AskKeyOff, AskKeyOn:
		r.next()
		return
	case AskLast:
		r.end(allDone)
		return
	}
	if r.run().outcome == Running {
		r.run().outcome = LeftOut
		r.say(Skipped, "left out")
	}
	r.after()
}

// Repeat begins the present step again, or the one before it when the present one has hardly begun.
func (r *Runner) Repeat(at time.Time) {
	if !r.active(at) {
		return
	}
	if r.run().outcome == Running && r.run().in == 0 && r.at > 0 {
		r.run().outcome = NotReached
		r.at--
	}
	*r.run() = run{}
	r.begin(Repeated)
}

// Stop ends the test.
func (r *Runner) Stop(at time.Time) {
	if r.over {
		return
	}
	r.last = at
	if r.at >= 0 && r.run().outcome == Running {
		r.run().outcome = Stopped
	}
	r.end("the test was stopped")
}

// active reports whether there is a step to skip or repeat.
func (r *Runner) active(at time.Time) bool {
	if r.over || r.at < 0 {
		return false
	}
	r.last = at
	return true
}

// Status is what is asked now, for a screen.
type Status struct {
	Step         *Step
	Number, Of   int
	Ask          Ask
	In           bool          // the car is in the condition: time counts
	Say          string        // what to do now
	Left, Length time.Duration // of the step, by the engine speed seen
	Done, Needed float64       // firings of each cylinder; Needed 0 when none are
}

// Status is nil before the first Advance and after the end.
func (r *Runner) Status() *Status {
	if r.over || r.at < 0 {
		return nil
	}
	u, left := r.run(), r.left()
	s := &Status{Step: r.step(), Number: r.order[r.at] + 1, Of: len(r.cfg.Plan), Ask: r.ask, Say: r.asked(),
		Left: left, Length: u.in + left, Done: u.firings(), Needed: r.target()}
	s.In = r.ask == AskCondition && r.held && r.wrong == ""
	switch r.ask {
	case AskCool:
		s.Left, s.Length = max(coolFor-r.last.Sub(r.since), 0), coolFor
	case AskEngineOff, AskKeyOff, AskKeyOn:
		s.Left = 0
	case AskLast:
		s.Left = r.toLast()
	}
	return s
}

func (u *run) firings() float64 { return u.revs / 2 }

func minutes(d time.Duration) string {
	s := int(d.Round(time.Second).Seconds())
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
