package misfire

import (
	"math"
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Config says what is known of the engine and what is asked of it.
type Config struct {
	// Engine is the layout; with Cylinders 0 it is taken to have as many cylinders as report a counter.
	Engine engine.Layout
	// Map tells which cylinder each misfire monitor means; the zero Map is the standard's.
	Map engine.Map
	// Ceiling is the rate, per 1,000 firings, up to which a cylinder counts as healthy; 0 is rate.Ceiling.
	Ceiling float64
}

// Tally is the sum of a drive. Give it samples and marks in order of time. It is for one goroutine.
type Tally struct {
	cfg   Config
	start time.Time
	last  time.Time

	judge    *gear.Judge
	exposure exposure
	spans    gearSpans
	queue    queue
	lanes    [engine.MaxCylinders]lane
	cadence  cadence
	ledger   *ledger
	book     *book
	lamp     lamp
	strip    strip

	runningFrom float64                                // seconds, when the engine last started; of use while it runs
	origins     [gearStates][gear.Reported + 1]float64 // seconds of running by gear state and who said so
	running     float64                                // seconds of known running
	unjudged    float64                                // seconds of them that the controller may not judge
	holes       float64                                // seconds of running that nobody saw
}

// NewTally begins a drive.
func NewTally(cfg Config) *Tally {
	if cfg.Ceiling <= 0 {
		cfg.Ceiling = rate.Ceiling
	}
	t := &Tally{cfg: cfg, judge: gear.NewJudge(), exposure: newExposure(), book: newBook(), strip: newStrip()}
	t.ledger = newLedger(&t.lanes, t.book.add)
	return t
}

// Add takes the next sample.
func (t *Tally) Add(s *obd.Sample) {
	if t.start.IsZero() {
		t.start = s.Sent
	}
	t.last = s.Received
	at := instant(s)
	call, changed := t.judge.Add(s)
	if changed {
		t.gearChanged(call, at)
	}
	for i := range s.Readings {
		t.take(&s.Readings[i], at)
	}
	t.strip.live(at, t.start, call, &t.exposure)
	t.drain(t.seconds(at) - settleTime)
}

// Mark takes the gear state that the driver or helper marked.
func (t *Tally) Mark(at time.Time, s gear.State) {
	if t.start.IsZero() {
		t.start = at
	}
	before := t.judge.Call()
	t.judge.Mark(at, s)
	if call := t.judge.Call(); call != before {
		t.gearChanged(call, at)
	}
}

// Finish takes in what is still on its way when the drive ends. Samples may follow: a drive goes on.
func (t *Tally) Finish() {
	t.drain(math.Inf(1))
	t.cadence.close()
	t.decide()
	t.ledger.finish()
}

// Strip is the last seconds of the drive, oldest first, at most as many as are kept. The slice is the
// caller's.
func (t *Tally) Strip(dst []Moment) []Moment { return t.strip.append(dst) }

func (t *Tally) seconds(at time.Time) float64 { return at.Sub(t.start).Seconds() }

func (t *Tally) gearChanged(call gear.Call, at time.Time) {
	since := call.Since
	if since.IsZero() || since.After(at) {
		since = at
	}
	t.spans.set(t.seconds(since), call)
	t.exposure.monitor.gearChanged(at)
}

// take sends one reading where it belongs.
func (t *Tally) take(r *obd.Reading, at time.Time) {
	switch r.Service {
	case obd.LiveData:
		if r.ID == obd.PIDStatus && r.Part == obd.PartMIL {
			if r.Module == t.exposure.engine { // other modules have a lamp bit of their own
				t.lamp.add(r.Value > 0, at)
			}
			return
		}
		if before, isRPM := t.exposure.take(r, at); isRPM {
			t.takeRPM(before, at)
		}
	case obd.TestResults:
		t.takeCount(r, at)
	}
}

func (t *Tally) takeRPM(before gauge, at time.Time) {
	if !before.known() {
		before = gauge{value: t.exposure.rpm.value, at: at}
	}
	ran := t.exposure.running
	started, stopped := t.exposure.turn()
	if ran || t.exposure.running {
		t.queue.push(event{kind: eventStep, at: t.seconds(at), step: t.exposure.between(before, t.start)}, t)
	}
	if started {
		t.queue.push(event{kind: eventStart, at: t.seconds(at)}, t)
	}
	if stopped {
		t.queue.push(event{kind: eventStop, at: t.seconds(at)}, t)
	}
}

// SetLimits gives the whole-engine limits, in percent, that the car reports for its 200- and
// 1000-revolution blocks; NaN or 0 where it reports none.
func (t *Tally) SetLimits(catalyst, emission float64) { t.book.whole.limits(catalyst, emission) }

func (t *Tally) takeCount(r *obd.Reading, at time.Time) {
	position, ok := countReading(r)
	if !ok {
		return
	}
	cylinder := position + 1
	if t.cfg.Map != (engine.Map{}) {
		cylinder = t.cfg.Map.Cylinder(position + 1)
	}
	if cylinder < 1 || cylinder > engine.MaxCylinders {
		return
	}
	if r.Part == testAverage {
		t.lanes[cylinder-1].average.set(r.Value, at)
		return
	}
	t.lanes[cylinder-1].reported = true
	t.queue.push(event{kind: eventCount, at: t.seconds(at), cylinder: cylinder - 1, value: int(r.Value)}, t)
}

// drain handles what happened up to a time: by then the gear state of that time is settled.
func (t *Tally) drain(until float64) {
	for {
		e := t.queue.first()
		if e == nil || e.at > until {
			break
		}
		t.handle(e)
		t.queue.drop()
	}
	t.cadence.passed(t.ledger.readBeyond())
	t.decide()
	t.ledger.settle()
}

// handle enters one event, in its own time.
func (t *Tally) handle(e *event) {
	switch e.kind {
	case eventStep:
		t.enterStep(&e.step)
	case eventCount:
		t.enterCount(e)
	case eventStart:
		// The counters begin a new driving cycle; what they last showed is not to be compared with.
		t.newCycle()
		t.runningFrom = e.at
	case eventStop:
		t.runningFrom = math.Inf(1)
	}
}

func (t *Tally) newCycle() {
	t.ledger.breakOff()
	t.cadence.restart()
	for i := range t.lanes {
		t.lanes[i].unbase()
	}
}

func (t *Tally) enterStep(s *step) {
	call := t.spans.at((s.from + s.to) / 2)
	c := Condition{Gear: call.State, Load: s.load, RPM: s.rpm, Warm: s.warm}
	switch {
	case !s.known:
		t.holes += s.to - s.from
	default:
		t.running += s.to - s.from
		t.origins[call.State][call.Origin] += s.to - s.from
		if !s.monitored {
			t.unjudged += s.to - s.from
		}
	}
	t.ledger.run(s, c.index())
}

func (t *Tally) enterCount(e *event) {
	l := &t.lanes[e.cylinder]
	if l.based && e.value < l.value {
		t.newCycle() // missed at the time, as when the link was lost while the engine was restarted
	}
	p := place{t.ledger.now.rev, e.at}
	settled := t.exposure.starts > 0 && e.at-t.runningFrom >= baselineSettles
	r, what := l.add(e.value, p, settled)
	if what != readingRise {
		return
	}
	r.cylinder = e.cylinder
	t.ledger.rise(r)
	t.cadence.observe(r)
	t.strip.miss(e.at, e.cylinder, r.misses)
}

// decide lets the ledger go on once the cadence is known, or once waiting for it costs too much.
func (t *Tally) decide() {
	f := t.cadence.finding()
	if f.Kind != RefreshUnknown {
		t.ledger.adopt(f.candidate())
		return
	}
	if t.ledger.holding && t.ledger.tooMuch() {
		t.ledger.holding = false
	}
}
