package guide

import (
	"math"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd"
)

// LoadConfig is what a load test is to do, and what is known before it begins.
type LoadConfig struct {
	Steps []Step
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

// KnownFrom returns what an earlier drive found.
func KnownFrom(s *misfire.Summary) Known {
	k := Known{Refresh: s.Refresh}
	k.Rate, k.Phi = suspect(s)
	return k
}

const (
	coolFor   = time.Minute      // common practice, no source
	stallFor  = 5 * time.Second  // seconds, not minutes: the converter heats up (common practice, no source)
	offFor    = 15 * time.Second // an ignition turned off for as long is off for every module
	onFor     = 5 * time.Second  // before what is read with the ignition on again is believed
	firstLook = 5 * time.Second  // until it is known whether the car counts misses
	speakWait = 6 * time.Second  // a wrong condition lasts as long before it is spoken of
	fewAtOnce = 30 * time.Second // a step that could not even run as long on a hot transmission has it cool first
)

// LoadTest leads through steps.
type LoadTest struct {
	*Runner
	cfg     LoadConfig
	runs    []run // one a step of the plan
	order   []int // places in the plan, in the order of running
	at      int   // place in order
	again   bool  // steps that turned out too short were taken up again
	breaks  int   // steps broken off for the catalyst's sake
	first   time.Time
	ended   time.Time // when the last step did
	turned  float64   // cadence.revs then
	cadence cadence
	windows []misfire.Window
	wrongs  time.Time // since when something is wrong
	held    bool      // this visit's condition was reached and said so
	braked  time.Duration
	cooled  time.Duration // since it was last in gear on the brake
}

// run is what became of one step of the plan.
type run struct {
	outcome Outcome
	why     Saying        // it was broken off
	in      time.Duration // in the condition
	revs    float64       // of it
	need    need
	burst   time.Duration // of the burst that goes on
	stalled time.Duration
	visits  []visit
}

// visit is a time for which a step ran.
type visit struct{ from, to time.Time }

// NewLoadTest begins a test; tell hears every event, from within the other methods.
func NewLoadTest(cfg LoadConfig, tell func(Event)) *LoadTest {
	t := &LoadTest{Runner: &Runner{tell: tell}, cfg: cfg, runs: make([]run, len(cfg.Steps)), at: -1}
	t.plan = t
	for i := range cfg.Steps {
		t.order = append(t.order, i)
	}
	return t
}

// step and run are the present ones.
func (t *LoadTest) step() *Step { return &t.cfg.Steps[t.order[t.at]] }
func (t *LoadTest) run() *run   { return &t.runs[t.order[t.at]] }

func (t *LoadTest) advance(past time.Duration) {
	t.cadence.add(past, t.now)
	if t.first.IsZero() {
		t.first = t.last
	}
	if t.at < 0 {
		if t.now.Counted() || t.last.Sub(t.first) >= firstLook {
			t.next()
		}
		return
	}
	t.cools(past)
	running := t.now.Live.Running
	switch t.ask {
	case AskStart:
		if running {
			t.enter(Asked)
		}
		t.remind()
	case AskCondition:
		t.work(past)
	case AskRest:
		t.rest()
	case AskCool:
		t.cool()
	case AskEngineOff:
		if !running {
			t.demand(AskKeyOff, Asked)
		}
		t.remind()
	case AskKeyOff:
		if t.waited() >= offFor {
			t.demand(AskKeyOn, Asked)
		}
	case AskKeyOn:
		t.read()
	case AskLast:
		if t.toLast() <= 0 {
			t.end(told(AllStepsDone))
		}
	}
}

// asked is what is asked now.
func (t *LoadTest) asked() Saying {
	switch t.ask {
	case AskStart:
		return told(DoStart)
	case AskCondition:
		if t.wrong.Kind != Nothing {
			return t.wrong
		}
		return Saying{Kind: DoStep, Step: t.step().Key}
	case AskRest:
		if t.step().OnBrake() {
			return Saying{Kind: DoPause, Mark: marksGear(t.now.Live.Gear.State), Value: t.step().Burst.Minutes()}
		}
		return told(DoEase)
	case AskCool:
		return t.run().why
	case AskEngineOff:
		return told(DoEngineOff)
	case AskKeyOff:
		return told(DoKeyOff)
	case AskKeyOn:
		return told(DoKeyOn)
	case AskLast:
		return told(DoLast)
	}
	return Saying{}
}

func (t *LoadTest) asleep(at time.Time) {
	t.last = at
	if t.ask == AskEngineOff || t.ask == AskKeyOff {
		t.demand(AskKeyOn, Asked)
	}
}

// read goes on once the counters are read.
func (t *LoadTest) read() {
	switch {
	case t.waited() < onFor:
	case t.now.Live.Running:
		t.run().why = told(CountsLost)
		t.next()
	case t.isRead():
		t.next()
	default:
		t.remind()
	}
}

// isRead reports whether every counter was read since the ignition is on again.
func (t *LoadTest) isRead() bool {
	for _, age := range t.now.Live.CountAge {
		if age >= t.waited() {
			return false
		}
	}
	return true
}

// demand asks for something in the present step.
func (t *LoadTest) demand(ask Ask, kind Kind) {
	t.wrong, t.held = Saying{}, false
	t.run().burst = 0
	t.require(ask, kind)
}

func (t *LoadTest) place() Place {
	var p Place
	if t.at >= 0 && t.at < len(t.order) {
		left := t.left()
		p = Place{Step: t.step(), Number: t.order[t.at] + 1, Of: len(t.cfg.Steps), Left: left, Length: t.run().in + left}
	}
	if t.ask == AskLast {
		p.Left = t.toLast()
	}
	return p
}

// next begins the next step, or ends the test.
func (t *LoadTest) next() {
	t.at++
	if t.at == len(t.order) && !t.again {
		t.again = true
		t.order = append(t.order, t.tooShort()...)
	}
	switch {
	case t.at < len(t.order):
		t.begin(Begun)
	case t.at > 0 && t.toLast() > 0:
		t.at-- // the screen goes on to show the last step
		t.demand(AskLast, Asked)
	default:
		t.end(told(AllStepsDone))
	}
}

func (t *LoadTest) begin(kind Kind) {
	u := t.run()
	u.outcome, u.need, u.stalled = Running, t.needed(), 0
	u.visits = append(u.visits, visit{from: t.last})
	if t.keyOff() && !t.now.Live.Running {
		t.demand(AskStart, kind)
		return
	}
	t.enter(kind)
}

// enter asks for the step's condition, or for a pause first where the transmission is hot from the steps before.
func (t *LoadTest) enter(kind Kind) {
	s := t.step()
	if s.OnBrake() && t.braked >= s.Burst-fewAtOnce && t.braked+t.left() > s.Burst {
		t.demand(AskRest, kind)
		return
	}
	t.demand(AskCondition, kind)
}

// close ends the present step.
func (t *LoadTest) close(o Outcome) {
	u := t.run()
	u.outcome = o
	u.visits[len(u.visits)-1].to = t.last
}

// end ends the test, whose steps are all over then.
func (t *LoadTest) end(how Saying) {
	t.at = len(t.order)
	t.Runner.end(how)
}

// work is a moment of the step itself.
func (t *LoadTest) work(past time.Duration) {
	if t.eased() {
		return
	}
	live := &t.now.Live
	was := t.wrong
	t.wrong = t.step().Wrong(live)
	if t.step().stalls(live) {
		if t.run().stalled += past; t.run().stalled > stallFor {
			t.breakOff(told(ConverterHeats))
			return
		}
	}
	if t.wrong.Kind != Nothing {
		t.correct(was)
		return
	}
	t.count(past)
}

// correct says what is wrong, once it has been so for a while.
func (t *LoadTest) correct(was Saying) {
	if t.wrong != was {
		t.wrongs = t.last
	}
	switch {
	case t.held && t.last.Sub(t.wrongs) >= speakWait:
		t.held = false // to be told when it is right again
		t.say(Asked, t.wrong)
	case !t.held: // a driver who was just told needs a while
		t.remind()
	}
}

// count adds a moment in the condition.
func (t *LoadTest) count(past time.Duration) {
	u, s := t.run(), t.step()
	u.in += past
	u.revs += past.Minutes() * t.now.Live.RPM
	u.burst += past
	if s.OnBrake() {
		t.braked += past
	}
	switch {
	case t.left() <= 0:
		t.finish()
	case !t.held:
		t.held = true
		t.say(Held, told(DoKeep))
	case s.Burst > 0 && t.atOnce() >= s.Burst:
		t.demand(AskRest, Asked)
	}
}

// atOnce is for how long what heats up has been heated without a rest.
func (t *LoadTest) atOnce() time.Duration {
	if t.step().OnBrake() {
		return t.braked
	}
	return t.run().burst
}

// cools has the transmission cool while no gear is held on the brake.
func (t *LoadTest) cools(past time.Duration) {
	l := &t.now.Live
	switch g := l.Gear.State; {
	case !l.Running || g == gear.ParkNeutral || g == gear.Moving:
		if t.cooled += past; t.cooled >= coolInPark {
			t.braked = 0
		}
	case g.Loaded():
		t.cooled = 0
	}
}

// rested is for how long the present rest has lasted.
func (t *LoadTest) rested() time.Duration {
	if t.step().OnBrake() {
		return min(t.waited(), t.cooled)
	}
	return t.waited()
}

// rest waits between two bursts.
func (t *LoadTest) rest() {
	switch {
	case t.eased():
	case t.rested() >= t.step().Rest:
		t.demand(AskCondition, Asked)
	case t.step().OnBrake() && t.cooled == 0:
		t.remind()
	}
}

// finish ends the step.
func (t *LoadTest) finish() {
	u := t.run()
	t.close(Done)
	t.ended, t.turned = t.last, t.cadence.revs
	t.say(Ended, Saying{Kind: StepRan, In: u.in, Value: math.Floor(u.firings())})
	t.after()
}

// after goes on behind a step.
func (t *LoadTest) after() {
	if t.keyOff() && t.now.Live.Running {
		t.demand(AskEngineOff, Asked)
		return
	}
	t.next()
}

// eased breaks the step off when the catalyst is at risk, and reports whether it did.
func (t *LoadTest) eased() bool {
	if !t.now.Verdict.EaseOff {
		return false
	}
	t.breaks++
	if t.breaks > 1 {
		t.close(BrokenOff)
		t.run().why = told(CatalystStill)
		t.say(Broken, t.run().why)
		t.end(told(ParkAtRisk))
		return true
	}
	t.breakOff(told(CatalystAtRisk))
	return true
}

func (t *LoadTest) breakOff(why Saying) {
	t.close(BrokenOff)
	t.run().why = why
	t.demand(AskCool, Broken)
}

// cool waits until what was overheated has cooled.
func (t *LoadTest) cool() {
	switch {
	case t.waited() < coolFor:
	case t.now.Verdict.EaseOff:
		t.end(told(ParkAtRisk))
	default:
		t.after()
	}
}

func (t *LoadTest) begun() bool { return t.at >= 0 }

func (t *LoadTest) skip() {
	switch t.ask {
	case AskEngineOff, AskKeyOff, AskKeyOn:
		t.next()
		return
	case AskLast:
		t.end(told(AllStepsDone))
		return
	}
	if t.run().outcome == Running {
		t.close(LeftOut)
		t.say(Skipped, told(StepLeftOut))
	}
	t.after()
}

func (t *LoadTest) repeat() {
	if t.run().outcome == Running && t.run().in == 0 && t.at > 0 {
		*t.run() = run{}
		t.at--
	}
	*t.run() = run{}
	t.begin(Repeated)
}

func (t *LoadTest) stop() Saying {
	if t.at >= 0 && t.run().outcome == Running {
		t.close(Stopped)
	}
	t.at = len(t.order)
	return told(TestStopped)
}

func (t *LoadTest) status(s *Status) {
	s.Done, s.Needed = t.run().firings(), t.target()
	s.In = t.ask == AskCondition && t.held && t.wrong.Kind == Nothing
	switch t.ask {
	case AskCool:
		s.Left, s.Length = max(coolFor-t.waited(), 0), coolFor
	case AskEngineOff, AskKeyOff, AskKeyOn:
		s.Left = 0
	}
}

// What a load test has no use for.
func (t *LoadTest) sample(*obd.Sample) {}
func (t *LoadTest) confirm(time.Time)  {}
func (t *LoadTest) lost(time.Time)     {}

func (u *run) firings() float64 { return u.revs / 2 }
