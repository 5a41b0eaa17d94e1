package vehicle

import (
	"context"
	"errors"
	"slices"
	"time"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
)

// ErrNothingToPoll says that the car supports no live data at all.
var ErrNothingToPoll = errors.New("the car offers no live data to watch: is this its engine's diagnostic socket?")

// Poller turns a car into a stream of samples.
type Poller struct {
	car   Asker
	caps  *Capabilities
	clock clock.Clock
	// Asleep hears when the car stops answering (true), as with the ignition turned off, and when it answers
	// again (false). May be nil. Set it before Run.
	Asleep func(at time.Time, asleep bool)

	size    int
	plan    *plan
	sample  obd.Sample
	answers int // good ones, of all requests

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
	silenceOfBus    = 2               // where a word of the adapter that nobody is on the bus counts for as many
	sleepPause      = 2 * time.Second // between attempts to wake it
)

// NewPoller makes a poller for a car whose capabilities are known.
func NewPoller(car Asker, caps *Capabilities, clk clock.Clock) *Poller {
	return &Poller{car: car, caps: caps, clock: clk, size: batch, plan: newPlan(caps, batch),
		sample: obd.Sample{Readings: make([]obd.Reading, 0, 32)}}
}

// Run polls until ctx ends, take returns an error, or the adapter cannot be helped without a person. Each
// sample is good until take returns. A car that falls asleep is waited for. What a module does not answer is
// asked less and less often, and a request for several values is split when the car or the adapter does not
// manage it.
func (p *Poller) Run(ctx context.Context, take func(*obd.Sample) error) error {
	if p.plan.empty() {
		return ErrNothingToPoll
	}
	for {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		it := p.plan.next()
		answer, err := p.car.Do(ctx, it.req)
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

// give decodes an answer and hands it on, never guessing at what is damaged.
func (p *Poller) give(it *item, answer *elm.Answer, take func(*obd.Sample) error) error {
	p.answers++
	p.silent, p.failures, it.missed = 0, 0, 0
	p.wake(answer.Received)
	p.sample.Sent, p.sample.Received = answer.Sent, answer.Received
	readings, damaged := appendReadings(p.sample.Readings[:0], it.req.Service(), answer.Messages)
	p.sample.Readings = readings
	switch {
	case !it.several():
	case damaged || !it.proven:
		p.judge(it, damaged, answer.Messages)
	default:
		it.broken = 0
	}
	if len(readings) == 0 {
		return nil
	}
	return take(&p.sample)
}

// appendReadings decodes the messages that answer a service. A message that cannot be read whole is left out, which
// damaged tells.
func appendReadings(dst []obd.Reading, s obd.Service, messages []obd.Message) (readings []obd.Reading, damaged bool) {
	decode := obd.AppendLive
	if s == obd.TestResults {
		decode = obd.AppendCounts
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
	if !damaged && p.complete(it.req, messages) {
		it.proven, it.broken = true, 0
		return
	}
	if it.broken++; it.broken >= breaksToSplit {
		p.askForLess()
	}
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
		p.askForLess()
		return nil
	case elm.RemedyNone:
		return p.silence(ctx, it, 1)
	case elm.RemedyWaitIgnition:
		return p.silence(ctx, it, silenceOfBus)
	}
	// The dialogue has tried everything for this request. Others may fare better; if none does for a while, a
	// person is needed.
	if it.several() && status.Remedy == elm.RemedyAskAgain {
		if it.broken++; it.broken >= breaksToSplit {
			p.askForLess()
		}
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
	if it.missed == 0 {
		it.since = p.answers
	}
	it.miss()
	if it.several() && !it.proven && it.missed == missesToRest && p.answers > it.since {
		p.askForLess()
	}
}

// askForLess makes the requests smaller.
func (p *Poller) askForLess() {
	if p.size > 1 {
		p.size /= 2
		p.plan = newPlan(p.caps, p.size)
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
