package vehicle

import (
	"context"
	"errors"
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

	size     int
	plan     *plan
	sample   obd.Sample
	silent   int
	failures int
	sleeping bool
}

const (
	failuresToEnd   = 10              // requests in a row that the adapter could not carry out
	silencesToSleep = 4               // requests in a row without an answer, before the car is taken to sleep
	sleepPause      = 2 * time.Second // between attempts to wake it
)

// NewPoller makes a poller for a car whose capabilities are known.
func NewPoller(car Asker, caps *Capabilities, clk clock.Clock) *Poller {
	return &Poller{car: car, caps: caps, clock: clk, size: batch, plan: newPlan(caps, batch),
		sample: obd.Sample{Readings: make([]obd.Reading, 0, 32)}}
}

// Run polls until ctx ends, take returns an error, or the adapter cannot be helped without a person. Each
// sample is good until take returns. A car that falls asleep is waited for.
func (p *Poller) Run(ctx context.Context, take func(*obd.Sample) error) error {
	if p.plan.empty() {
		return ErrNothingToPoll
	}
	for {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		req := p.plan.next()
		answer, err := p.car.Do(ctx, req)
		if err == nil {
			err = p.give(req, answer, take)
		} else {
			err = p.bear(ctx, err)
		}
		if err != nil {
			return err
		}
	}
}

// give decodes an answer and hands it on. A message that cannot be read is left out, never guessed at.
func (p *Poller) give(req obd.Request, answer elm.Answer, take func(*obd.Sample) error) error {
	p.silent, p.failures = 0, 0
	p.wake(answer.Received)
	p.sample.Sent, p.sample.Received = answer.Sent, answer.Received
	readings := p.sample.Readings[:0]
	for _, m := range answer.Messages {
		if req.Service() == obd.TestResults {
			readings, _ = obd.AppendCounts(readings, m)
		} else {
			readings, _ = obd.AppendLive(readings, m)
		}
	}
	p.sample.Readings = readings
	if len(readings) == 0 {
		return nil
	}
	return take(&p.sample)
}

// bear decides whether the poll can go on after a request that failed.
func (p *Poller) bear(ctx context.Context, err error) error {
	var refused obd.NegativeResponse
	var status *elm.Status
	switch {
	case ctx.Err() != nil:
		return context.Cause(ctx)
	case errors.As(err, &refused):
		return nil
	case !errors.As(err, &status):
		return err
	}
	switch status.Remedy {
	case elm.RemedyAskForLess:
		p.askForLess()
		return nil
	case elm.RemedyTellUser, elm.RemedyStartAgain:
		// The dialogue has tried everything for this request. Others may fare better; if none does, a
		// person is needed.
		if p.failures++; p.failures >= failuresToEnd {
			return err
		}
		return nil
	}
	return p.silence(ctx)
}

// askForLess makes the requests smaller after the adapter was overrun.
func (p *Poller) askForLess() {
	if p.size > 1 {
		p.size /= 2
		p.plan = newPlan(p.caps, p.size)
	}
}

// silence counts answers that did not come. A sleeping car is asked seldom.
func (p *Poller) silence(ctx context.Context) error {
	p.silent++
	if p.silent < silencesToSleep {
		return nil
	}
	now := p.clock.Now()
	if !p.sleeping {
		p.sleeping = true
		if p.Asleep != nil {
			p.Asleep(now, true)
		}
	}
	if !p.clock.SleepUntil(now.Add(sleepPause), ctx.Done()) {
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
