package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/link"
	"stumble/obd/vehicle"
	"stumble/views"
)

// session is a connected car.
type session struct {
	target  *target
	adapter *elm.Adapter
	caps    *vehicle.Capabilities

	exchanges int
	last      time.Time // end of the last exchange
	pace      pace
	linkState string // empty while all is well
	noticed   func(elm.Notice)
	record    func(*obd.Exchange) // hears every exchange; may be nil
}

const (
	wakeEvery = 2 * time.Second  // between attempts to find a car whose ignition is off
	patience  = 20 * time.Second // how long a one-time reading seeks a lost adapter
)

// connect reaches the adapter and the car. With wait, a car that does not answer is waited for until the
// context or the deadline ends (a zero deadline is none); without, that is the error.
func (a *app) connect(t *target, wait bool, deadline time.Time) (*session, error) {
	s := &session{target: t}
	cfg := elm.Config{Clock: t.clock, Dial: t.dial, Observe: s.observe, Notice: s.notice}
	if !wait {
		cfg.Patience = patience
	}
	adapter, err := elm.Connect(a.ctx, cfg)
	if adapter == nil {
		return nil, turnedAway(t, err)
	}
	s.adapter = adapter
	if err != nil && wait {
		err = a.awaitCar(s, err, deadline)
	}
	if err == nil {
		s.caps, err = vehicle.Discover(a.ctx, adapter)
	}
	if err != nil {
		adapter.Close()
		return nil, err
	}
	return s, nil
}

// turnedAway says what it means when a connection over the network ends before an adapter was met there: wireless
// adapters take one client at a time and hang up on another.
func turnedAway(t *target, err error) error {
	if t.address.Kind == link.Network && errors.Is(err, link.ErrGone) {
		return fmt.Errorf("%s closed the connection at once; another program may be using the adapter, or something else is there: check the address", t.address.Host)
	}
	return err
}

// awaitCar asks for the car again and again until its ignition is on.
func (a *app) awaitCar(s *session, why error, deadline time.Time) error {
	fmt.Fprintf(a.err, "waiting for the car: %s\n", explain(why))
	clk := s.target.clock
	for {
		if !clk.SleepUntil(clk.Now().Add(wakeEvery), a.ctx.Done()) {
			return context.Cause(a.ctx)
		}
		err := s.adapter.FindCar(a.ctx)
		if err == nil || elm.RemedyFor(err) != elm.RemedyWaitIgnition {
			return err
		}
		if !deadline.IsZero() && !clk.Now().Before(deadline) {
			return err
		}
	}
}

func (s *session) close() { s.adapter.Close() }

func (s *session) observe(e *obd.Exchange) {
	s.exchanges++
	s.last = e.Received
	s.pace.add(e.Received)
	if s.record != nil {
		s.record(e)
	}
}

// health is how the adapter is doing.
func (s *session) health() views.Health {
	return views.Health{
		Adapter: s.adapter.Identity(), Protocol: s.adapter.Protocol().String(),
		PerSecond: s.pace.perSecond(), Exchanges: s.exchanges, Link: s.linkState, Recording: "not recorded",
	}
}

func (s *session) notice(n elm.Notice) {
	switch n.Kind {
	case elm.LinkBack:
		s.linkState = ""
	default:
		s.linkState = "adapter lost, seeking it"
	}
	if s.noticed != nil {
		s.noticed(n)
	}
}

// pace measures exchanges a second over the last few.
type pace struct {
	times [64]time.Time
	n     int
}

func (p *pace) add(at time.Time) {
	p.times[p.n%len(p.times)] = at
	p.n++
}

// perSecond is the pace of late, NaN while there is too little to tell.
func (p *pace) perSecond() float64 {
	kept := min(p.n, len(p.times))
	if kept < 2 {
		return math.NaN()
	}
	first, last := p.times[(p.n-kept)%len(p.times)], p.times[(p.n-1)%len(p.times)]
	if d := last.Sub(first).Seconds(); d > 0 {
		return float64(kept-1) / d
	}
	return math.NaN()
}

// ended reports whether a run ended because it was meant to: time was up, or the user left.
func ended(err error) bool {
	return err == nil || errors.Is(err, errTimeUp) || errors.Is(err, context.Canceled)
}

// errTimeUp ends a drive whose length was given.
var errTimeUp = errors.New("the time given is over")
