package misfire

import (
	"math"
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/idle"
	"stumble/misfire/rate"
	"stumble/misfire/track"
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
	// Coded is the cylinders that the car's misfire codes name, which the counts are held against; see [Clash].
	Coded []int
	// Gearbox is what the user told of it; it helps to infer the gear of a car that does not tell it.
	Gearbox gear.Box
	// Wraps is at which value the counters of the user's table begin again at 0, cylinder 1 first; 0: they do not.
	Wraps [engine.MaxCylinders]float64
}

// Tally is the sum of a drive. Give it samples and marks in order of time. It is for one goroutine.
type Tally struct {
	cfg   Config
	start time.Time
	at    time.Time // of the newest sample, midway between question and answer
	last  time.Time

	unread int // monitors that the car lists and that did not answer at the beginning

	judge    *gear.Judge
	exposure exposure
	idle     idle.Index // fed until a counter shows up
	queue    queue
	lanes    [engine.MaxCylinders]lane
	averages [engine.MaxCylinders]average
	heard    [engine.MaxCylinders]time.Time // when each counter was last read
	counting counting
	roads    roads
	blocks   [engine.MaxCylinders]own
	owned    bool // counts of the user's table were read
	blocked  bool // and tell the last block of turns alone
	cadence  cadence
	ledger   *ledger
	accounts *accounts
	relay    *relay
	lamp     lamp
	strip    strip

	runningFrom float64 // seconds, when the engine last started; +Inf while it stands
	stoppedAt   float64 // seconds, when it last stopped; +Inf while it runs
	running     float64 // seconds of known running
	judged      float64 // revolutions that the controller may judge
	unjudged    float64 // seconds of them that the controller may not judge
	holes       float64 // seconds of running that nobody saw
}

// NewTally begins a drive.
func NewTally(cfg Config) *Tally {
	if cfg.Ceiling <= 0 {
		cfg.Ceiling = rate.Ceiling
	}
	t := &Tally{cfg: cfg, judge: gear.NewJudge(), exposure: newExposure(), accounts: newAccounts(), strip: newStrip(),
		runningFrom: math.Inf(1), stoppedAt: math.Inf(1)}
	t.accounts.ceiling, t.accounts.cylinders = cfg.Ceiling/1000, cfg.Engine.Cylinders
	t.judge.SetBox(cfg.Gearbox)
	t.relay = newRelay(t.judge, t.accounts, &t.start)
	t.ledger = newLedger(&t.lanes, t.relay.take)
	for i := range t.averages {
		t.averages[i] = newAverage()
	}
	return t
}

// Add takes the next sample. One that is older than the last, as when a clock was set back, counts as of the
// same moment.
func (t *Tally) Add(s *obd.Sample) {
	at := track.Instant(s)
	if t.start.IsZero() {
		t.start = s.Sent
	}
	if at.Before(t.at) {
		at = t.at
	}
	t.at, t.last = at, s.Received
	call, changed := t.judge.Add(s)
	if changed && call.State != gear.Unknown {
		t.exposure.monitor.gearChanged(at)
	}
	t.chooseCounting(s)
	for i := range s.Readings {
		t.take(&s.Readings[i], at)
	}
	if !t.counts() {
		t.idle.Add(s, call.State)
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
		t.exposure.monitor.gearChanged(at)
	}
}

// Prompt takes that a guided test asked for a gear state.
func (t *Tally) Prompt(at time.Time, s gear.State) {
	if t.start.IsZero() {
		t.start = at
	}
	t.judge.Prompt(at, s)
}

// SetLimits gives the whole-engine limits, in percent, that the car reports for its 200- and
// 1000-revolution blocks; NaN or 0 where it reports none.
func (t *Tally) SetLimits(catalyst, emission float64) {
	t.accounts.whole.limits(catalyst, emission)
	t.relay.copy = nil
}

// SetUnread tells how many misfire monitors the car lists that did not answer when the drive began: without a count it is
// then not the car that has none.
func (t *Tally) SetUnread(monitors int) { t.unread = monitors }

// Finish takes in what is still on its way when the drive ends. Samples may follow: a drive goes on.
func (t *Tally) Finish() {
	t.drain(math.Inf(1))
	t.confirmHeld()
	t.cadence.close()
	t.decide()
	t.ledger.goOn(t.cadence.forNow())
	t.ledger.settle()
	t.relay.settle(math.Inf(1))
}

// Strip is the last seconds of the drive, oldest first, at most as many as are kept, added to dst.
func (t *Tally) Strip(dst []Moment) []Moment {
	first := len(dst)
	dst = t.strip.append(dst)
	t.relay.dress(dst[first:])
	return dst
}

func (t *Tally) seconds(at time.Time) float64 { return at.Sub(t.start).Seconds() }

// counts reports whether any counter was ever read.
func (t *Tally) counts() bool {
	for i := range t.lanes {
		if t.lanes[i].reported {
			return true
		}
	}
	return false
}

// take sends one reading where it belongs.
func (t *Tally) take(r *obd.Reading, at time.Time) {
	switch {
	case r.Service == obd.TestResults, r.Service == obd.CodeData, r.Service == obd.LocalData:
		t.takeCount(r, at)
	case r.Service != obd.LiveData:
	case r.ID == obd.PIDStatus && r.Part == obd.PartMIL:
		if engine, found := t.exposure.Engine(); found && r.Module == engine { // other modules have a lamp bit of their own
			t.lamp.add(r.Value > 0, at)
		}
	default:
		t.takeLive(r, at)
	}
}

func (t *Tally) takeLive(r *obd.Reading, at time.Time) {
	ran := t.exposure.Running
	seen := t.exposure.take(r, at)
	if seen&track.Turned == 0 {
		return
	}
	if ran { // cranking is no running
		t.queue.push(event{kind: eventStep, at: t.seconds(at), step: t.exposure.between(t.start)}, t)
	}
	if seen&track.Stopped != 0 {
		t.queue.pushBack(event{kind: eventStop, at: t.seconds(t.exposure.StoodSince())}, t)
	}
	if seen&track.Started != 0 {
		before := t.exposure.Before
		witnessed := before.Known() && at.Sub(before.At) <= track.Hole
		t.queue.push(event{kind: eventStart, at: t.seconds(at), witnessed: witnessed}, t)
	}
}

func (t *Tally) takeCount(r *obd.Reading, at time.Time) {
	position, ok := countReading(r)
	if !ok || !t.counting.takes(r) {
		return
	}
	cylinder := position + 1
	if t.cfg.Map != (engine.Map{}) {
		cylinder = t.cfg.Map.Cylinder(position + 1)
	}
	if cylinder < 1 || cylinder > engine.MaxCylinders {
		return
	}
	way, ok := roadOf(r)
	if !ok {
		return
	}
	e := event{kind: eventCount, at: t.seconds(at), cylinder: cylinder - 1, value: int(r.Value), road: way}
	if r.Service == obd.LocalData {
		e.ownReading(r)
		t.owned, t.blocked = true, t.blocked || e.block
	}
	if r.Service == obd.TestResults && r.Part == obd.TIDAverage {
		e.kind = eventAverage
	} else {
		t.lanes[e.cylinder].reported, t.heard[e.cylinder] = true, at
		t.accounts.cylinders = max(t.accounts.cylinders, cylinder)
	}
	t.queue.push(e, t)
}

// drain handles what happened up to a time.
func (t *Tally) drain(until float64) {
	handled := false
	for e := t.queue.first(); e != nil && e.at <= until; e = t.queue.first() {
		t.handle(e)
		t.queue.drop()
		handled = true
	}
	if !handled {
		return
	}
	t.giveUpSilent()
	t.cadence.passed(t.ledger.readBeyond())
	t.decide()
	t.ledger.settle()
	t.relay.settle(t.seconds(t.judge.Settled(t.last)))
}

// giveUpSilent stops waiting for counters that are no longer read.
func (t *Tally) giveUpSilent() {
	for i := range t.lanes {
		if l := &t.lanes[i]; l.based && t.running-l.ran > silentAfter {
			l.dropBaseline()
		}
	}
	t.roads.giveUp(t.running)
}

// decide lets the ledger go on once the cadence is known, or once waiting for it costs too much.
func (t *Tally) decide() {
	f := t.cadence.finding()
	switch {
	case f.Kind != RefreshUnknown:
		t.ledger.adopt(f.candidate())
	case t.ledger.tooMuch():
		t.ledger.goOn(t.cadence.guess())
	}
}

// handle enters one event, in its own time.
func (t *Tally) handle(e *event) {
	switch e.kind {
	case eventStep:
		t.enterStep(&e.step)
	case eventCount:
		t.enterCount(e)
	case eventAverage:
		t.averages[e.cylinder].read(float64(e.value))
	case eventStart:
		// The counters begin a new driving cycle; what they last showed is not to be compared with.
		t.endAverages()
		t.newCycle(!e.witnessed)
		t.runningFrom, t.stoppedAt = e.at, math.Inf(1)
		if !e.witnessed { // found running: its counters have settled
			t.runningFrom -= baselineSettles
		}
	case eventStop:
		t.runningFrom, t.stoppedAt = math.Inf(1), e.at
	}
}

// newCycle begins a driving cycle; midway tells that it was under way before it was watched.
func (t *Tally) newCycle(midway bool) {
	t.confirmHeld()
	t.ledger.breakOff(t.cadence.guess(), midway)
	t.cadence.restart(t.ledger.now)
	t.relay.endCycle()
	for i := range t.lanes {
		t.lanes[i].dropBaseline()
	}
	t.roads.drop()
	t.dropBlocks()
}

// endAverages tells the averages what the cycle that ended had counted.
func (t *Tally) endAverages() {
	for i := range t.lanes {
		if l := &t.lanes[i]; l.based {
			t.averages[i].ended(l.value, l.read.sec > t.stoppedAt)
		}
	}
}

func (t *Tally) enterStep(s *step) {
	c := Condition{Load: s.load, RPM: s.rpm, Warm: s.warm} // the gear is laid to it later
	if !s.heat {                                           // the first moments of a drive, before the coolant was asked for
		c.Warm = t.exposure.Warm()
	}
	if s.known {
		t.running += s.to - s.from
		if s.monitored {
			t.judged += s.revs
		} else {
			t.unjudged += s.to - s.from
		}
	} else {
		t.holes += s.to - s.from
		t.cadence.lose()
	}
	t.ledger.run(s, c.index())
}

func (t *Tally) enterCount(e *event) {
	l, standing := &t.lanes[e.cylinder], math.IsInf(t.runningFrom, 1)
	if !standing && e.at-t.ledger.now.sec > track.Hole.Seconds() {
		return // what ran before it is not known until the engine's speed is
	}
	p := place{t.ledger.now.rev, e.at}
	if !t.onRoad(e, p) {
		return
	}
	settled := e.at-t.runningFrom >= baselineSettles
	if e.block {
		settled = t.takeBlock(e, l, standing) && settled
	}
	t.unwind(e, l)
	old, wasBased := l.value, l.based
	r, is := l.add(e.value, p, t.mayHaveFired(), settled)
	if is == restarted && !t.roads.certain() && standing { // an average, most likely
		l.dropBaseline()
		return
	}
	if is == restarted { // missed at the time, as when the link was lost while the engine was restarted
		t.newCycle(true)
		old, wasBased = l.value, false
		r, is = l.add(e.value, p, t.mayHaveFired(), e.at-t.runningFrom >= baselineSettles)
	}
	l.ran = t.running
	if l.based && !wasBased {
		t.averages[e.cylinder].began(e.value)
		// A counter that goes on where it was has been under way since before the start.
		t.ledger.midway = t.ledger.midway || old > 0 && e.value >= old
	}
	if is != rose {
		return
	}
	ran := t.ranAt(r)
	if !ran && !t.roads.certain() {
		return // an average, most likely
	}
	t.roads.moved = t.roads.moved || ran
	t.enterRise(e.cylinder, r)
}

// mayHaveFired is the firings of each cylinder so far, with as many in each hole as an engine can make.
func (t *Tally) mayHaveFired() float64 {
	const fastest = 7000.0 / 120 // firings a second
	return t.ledger.now.rev/2 + fastest*t.holes
}

// enterRise enters misses that a counter showed.
func (t *Tally) enterRise(cylinder int, r rise) {
	r.cylinder = cylinder
	if math.IsInf(t.runningFrom, 1) && r.hi.sec >= t.stoppedAt {
		t.cadence.stood(r)
	} else {
		t.cadence.observe(r)
	}
	t.ledger.rise(r)
	t.strip.miss(r.hi.sec, cylinder, r.misses)
}

// confirmHeld takes rises that were read once and cannot be read again: the cycle ends, or the drive does.
func (t *Tally) confirmHeld() {
	for i := range t.lanes {
		if l := &t.lanes[i]; l.held.misses > 0 {
			t.enterRise(i, l.confirm())
		}
	}
}
