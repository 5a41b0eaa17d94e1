package vehicle

import (
	"context"
	"errors"
	"slices"
	"time"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/uds"
)

// ErrNothingToPoll says that the car supports no live data at all.
var ErrNothingToPoll = errors.New("the car offers no live data to watch: is this its engine's diagnostic socket?")

// Aimer asks one module alone, which costs less than asking all: *elm.Adapter is one.
type Aimer interface {
	// DoOf is Do for one module. lines is how many lines its answer is taken to have, 0 where that is not known.
	DoOf(ctx context.Context, req obd.Request, m obd.Module, lines int) (elm.Answer, error)
}

// Poller turns a car into a stream of samples.
type Poller struct {
	car   Asker
	aimer Aimer // nil where one module cannot be asked alone
	caps  *Capabilities
	clock clock.Clock
	// Asleep hears when the car stops answering (true), as with the ignition turned off, and when it answers
	// again (false). May be nil. Set it before Run.
	Asleep func(at time.Time, asleep bool)
	// Before is called before every request; its error ends the poll. May be nil. Set it before Run.
	Before func(ctx context.Context) error
	// Until is when the poll ends, whatever has become of the link until then, and Over what it ends with. Zero: with its
	// context. Set them before Run.
	Until time.Time
	Over  error

	with    planning
	plan    *plan
	quest   quest
	sample  obd.Sample
	answers int     // good ones, of all requests
	rpm     float64 // of the engine, newest

	silent   int // requests in a row without an answer
	sleeping bool
	failures int       // requests in a row that the adapter could not carry out
	failing  time.Time // when the first of them failed
}

const (
	failuresToEnd   = 10               // requests in a row that the adapter could not carry out,
	failingToEnd    = 20 * time.Second // over at least this long: cranking an engine can upset a bus for seconds
	failurePause    = 250 * time.Millisecond
	silencesToSleep = 4               // requests in a row without an answer, before the car is taken to sleep,
	silenceOfBus    = 2               // where a word of the adapter that nobody is on the bus counts for as many,
	silenceOfAll    = 4               // and that nobody is on any bus for as many
	sleepPause      = 2 * time.Second // between attempts to wake it
)

// NewPoller makes a poller for a car whose capabilities are known. What it finds out later, as a counter that was not
// answered at the start, it adds to them.
func NewPoller(car Asker, caps *Capabilities, clk clock.Clock) *Poller {
	car = caps.speaking(car, false)
	size := batch
	if caps.engineByID() {
		size = uds.MostIdentifiers
	}
	p := &Poller{car: car, caps: caps, clock: clk, with: planning{size: size, pairs: caps.Pairs == PairsAnswered},
		sample: obd.Sample{Readings: make([]obd.Reading, 0, 32)}}
	p.aimer, _ = car.(Aimer)
	if caps.Size > 0 {
		p.with.size = caps.Size
	}
	p.replan()
	p.quest.begin(clk.Now())
	return p
}

// replan makes the plan anew, keeping what was learnt of the car.
func (p *Poller) replan() {
	p.plan = newPlan(p.caps, p.with)
	for _, list := range [...][]*item{p.plan.timed, p.plan.counts} {
		for _, it := range list {
			for i := range it.asks {
				a := &it.asks[i]
				a.one = a.one && !slices.Contains(p.caps.ToAll, a.req.String())
			}
			it.rider.one = it.rider.one && !slices.Contains(p.caps.ToAll, it.rider.req.String())
		}
	}
}

// Run polls until ctx ends, take returns an error, or the adapter cannot be helped without a person. Each
// sample is good until take returns. A car that falls asleep is waited for. What a module does not answer is
// asked less and less often, and a request for several values is split when the car or the adapter does not
// manage it.
func (p *Poller) Run(ctx context.Context, take func(*obd.Sample) error) error {
	if p.plan.empty() {
		return ErrNothingToPoll
	}
	if !p.Until.IsZero() {
		over, stop := clock.WithEnd(ctx, p.clock, p.Until, p.Over)
		defer stop()
		ctx = over
	}
	for {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if p.Before != nil {
			if err := p.Before(ctx); err != nil {
				return err
			}
		}
		now := p.clock.Now()
		it := p.quest.due(p, now)
		if it == nil {
			it = p.plan.next(now)
		}
		a := it.now()
		answer, err := p.ask(ctx, a)
		it.spent(p.clock.Now().Sub(now))
		if err == nil {
			err = p.give(it, &answer, take)
		} else {
			err = p.bear(ctx, it, err)
		}
		if err != nil {
			return err
		}
	}
}

func (p *Poller) ask(ctx context.Context, a *ask) (elm.Answer, error) {
	if a.own {
		return askOwn(ctx, p.car, a.req, a.header)
	}
	if p.aimer == nil || !a.one {
		return p.car.Do(ctx, a.req)
	}
	lines := a.lines
	if a.req.Service() == obd.TestResults && a.req.Len() == 2 {
		lines = p.caps.CountLines
	}
	return p.aimer.DoOf(ctx, a.req, a.module, lines)
}

// give decodes an answer and hands it on, never guessing at what is damaged.
func (p *Poller) give(it *item, answer *elm.Answer, take func(*obd.Sample) error) error {
	p.answers++
	p.silent, p.failures, it.missed = 0, 0, 0
	p.wake(answer.Received)
	a := it.now()
	p.sample.Sent, p.sample.Received = answer.Sent, answer.Received
	readings, damaged := p.sample.Readings[:0], false
	if a.own {
		for _, m := range answer.Messages {
			readings = p.caps.Counters.Append(readings, a.req, m)
		}
	} else {
		readings, damaged = appendReadings(readings, a.req.Service(), answer.Messages)
	}
	p.sample.Readings = readings
	switch {
	case p.quest.answered(p, it, answer):
	case a.own:
		p.countedByCode(it, damaged)
	case a.req.Service() == obd.TestResults:
		p.counted(it, damaged, answer)
	case a.req.Service() == obd.CodeData:
		p.countedByCode(it, damaged)
	case !a.several():
		a.proven = true
	case damaged || !a.proven:
		p.judge(it, damaged, answer.Messages)
	default:
		it.now().broken = 0
	}
	p.follow(readings)
	if len(readings) == 0 {
		return nil
	}
	return take(&p.sample)
}

// counted notes what a counter's answer tells of the counter, and of its like. Two monitors in one request that no longer
// come both are asked one by one again.
func (p *Poller) counted(it *item, damaged bool, answer *elm.Answer) {
	a := it.now()
	sum, n := 0.0, 0
	for i := range p.sample.Readings {
		if r := &p.sample.Readings[i]; r.Part == obd.TIDCount {
			sum += r.Value
			n++
		}
	}
	if damaged || n < len(a.req.Params()) {
		if a.broken++; len(a.req.Params()) > 1 && a.broken >= 2 {
			p.with.pairs, p.caps.Pairs = false, PairsRefused
			p.replan()
		}
		return
	}
	a.broken, a.proven = 0, true
	it.moved(sum)
	if len(answer.Messages) == 1 && a.req.Len() == 2 {
		p.caps.CountLines = framesOf(len(answer.Messages[0].Data))
	}
}

// countedByCode notes what the answer tells of a counter that hangs on a code, or of one of the user's table.
func (p *Poller) countedByCode(it *item, damaged bool) {
	if damaged || len(p.sample.Readings) == 0 {
		it.now().broken++
		return
	}
	sum := 0.0
	for i := range p.sample.Readings {
		sum += p.sample.Readings[i].Value
	}
	it.now().broken, it.now().proven = 0, true
	it.moved(sum)
}

// follow sets the pace of the engine speed by the speed itself: faster while it changes much from one reading to the next,
// as in a shift.
func (p *Poller) follow(readings []obd.Reading) {
	if p.plan.fast == nil || len(p.plan.counts) == 0 {
		return
	}
	for i := range readings {
		r := &readings[i]
		if r.Service != obd.LiveData || r.ID != obd.PIDRPM {
			continue
		}
		const much = 0.04
		p.plan.fast.every = fastEvery
		if change := r.Value - p.rpm; p.rpm > 0 && max(change, -change) > much*p.rpm {
			p.plan.fast.every = shiftEvery
		}
		p.rpm = r.Value
		return
	}
}

// appendReadings decodes the messages that answer a service. A message that cannot be read whole is left out, which
// damaged tells.
func appendReadings(dst []obd.Reading, s obd.Service, messages []obd.Message) (readings []obd.Reading, damaged bool) {
	decode := obd.AppendLive
	switch s {
	case obd.TestResults:
		decode = obd.AppendCounts
	case obd.CodeData:
		decode = uds.AppendCounts
	}
	for _, m := range messages {
		before := len(dst)
		var err error
		if dst, err = decode(dst, m); err != nil {
			dst, damaged = dst[:before], true
		}
	}
	return dst, damaged
}

// judge watches a request for several values until it has once brought all of them. Some modules answer only
// the first.
func (p *Poller) judge(it *item, damaged bool, messages []obd.Message) {
	a := it.now()
	if !damaged && p.complete(a.req, messages) {
		a.proven, a.broken = true, 0
		return
	}
	p.broke(it)
}

// complete reports whether each module that answered gave all that it says it supports.
func (p *Poller) complete(req obd.Request, messages []obd.Message) bool {
	for _, m := range messages {
		i := slices.IndexFunc(p.caps.Modules, func(c Module) bool { return c.Address == m.Module })
		if i < 0 {
			continue
		}
		for _, pid := range req.Params() {
			if _, there := obd.PIDData(m, pid); !there && p.caps.Modules[i].PIDs.Has(pid) {
				return false
			}
		}
	}
	return true
}

// bear decides whether the poll can go on after a request that failed.
func (p *Poller) bear(ctx context.Context, it *item, err error) error {
	var refused obd.NegativeResponse
	var status *elm.Status
	switch {
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case errors.As(err, &refused):
		p.silent, p.failures = 0, 0
		p.wake(p.clock.Now())
		p.miss(it)
		return nil
	case !errors.As(err, &status):
		return err
	}
	switch status.Remedy {
	case elm.RemedyAskForLess:
		p.askForLess(it)
		return nil
	case elm.RemedyNone:
		if p.askAll(it) {
			return nil
		}
		return p.silence(ctx, it, 1)
	case elm.RemedyWaitIgnition:
		if status == elm.NoVehicle { // it took seconds to go through all buses
			return p.silence(ctx, it, silenceOfAll)
		}
		return p.silence(ctx, it, silenceOfBus)
	}
	// The dialogue has tried everything for this request. Others may fare better; if none does for a while, a
	// person is needed.
	if it.now().several() && status.Remedy == elm.RemedyAskAgain {
		p.broke(it)
	}
	return p.failed(ctx, err)
}

// failed counts requests that the adapter could not carry out.
func (p *Poller) failed(ctx context.Context, err error) error {
	now := p.clock.Now()
	if p.failures == 0 {
		p.failing = now
	}
	if p.failures++; p.failures < failuresToEnd {
		return nil
	}
	if now.Sub(p.failing) >= failingToEnd {
		return err
	}
	return p.pause(ctx, failurePause)
}

// miss notes a request that brought nothing while the car answers others. If it asks for several values that
// no answer ever held together, the module may be unable to.
func (p *Poller) miss(it *item) {
	if p.quest.its(it) {
		return
	}
	if it.missed == 0 {
		it.since = p.answers
	}
	it.miss(p.clock.Now())
	if a := it.now(); a.several() && !a.proven && it.missed == missesToRest && p.answers > it.since {
		p.askForLess(it)
	}
}

// askAll gives up asking one module alone for something, where it has never answered that, or answered others twice since
// it last did: gateways may pass on only what is for all. It reports whether that was so.
func (p *Poller) askAll(it *item) bool {
	a := it.now()
	if p.aimer == nil || !a.one || a.proven && (it.missed == 0 || p.answers <= it.since) || p.quest.its(it) {
		return false
	}
	a.one = false
	p.caps.ToAll = append(p.caps.ToAll, a.req.String())
	return true
}

// broke notes an answer that was damaged or lacked something; several on end are too long.
func (p *Poller) broke(it *item) {
	a := it.now()
	if a.broken++; a.broken >= breaksToSplit {
		p.askForLess(it)
	}
}

// askForLess makes the requests smaller: first that what rode on the fast request asks for itself.
func (p *Poller) askForLess(it *item) {
	if it.riding {
		p.with.plain = true
		p.replan()
		return
	}
	if p.with.size > 1 {
		p.with.size -= p.with.size / 2
		p.caps.Size = p.with.size
		p.replan()
	}
}

// silence counts answers that did not come. A sleeping car is asked seldom.
func (p *Poller) silence(ctx context.Context, it *item, weight int) error {
	p.silent += weight
	if p.silent < silencesToSleep {
		p.miss(it)
		return nil
	}
	if !p.sleeping {
		p.sleeping = true
		p.plan.refresh() // it is the car that is silent, not those requests
		if p.Asleep != nil {
			p.Asleep(p.clock.Now(), true)
		}
	}
	return p.pause(ctx, sleepPause)
}

func (p *Poller) pause(ctx context.Context, d time.Duration) error {
	if !p.clock.SleepUntil(p.clock.Now().Add(d), ctx.Done()) {
		return context.Cause(ctx)
	}
	return nil
}

func (p *Poller) wake(at time.Time) {
	if p.sleeping {
		p.sleeping = false
		if p.Asleep != nil {
			p.Asleep(at, false)
		}
	}
}
