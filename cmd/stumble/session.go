package main

import (
	"errors"
	"fmt"

	"stumble/misfire/cause"
	"stumble/misfire/job"
	"stumble/obd/elm"
	"stumble/obd/link"
)

// connect reaches the adapter and the car; with w a car that does not answer is waited for.
func (a *app) connect(t *target, w *job.Waiting) (*job.Car, error) {
	c, err := job.Connect(a.ctx, elm.Config{Clock: t.clock, Dial: t.dial, Baud: t.fast, Hastened: func(baud int) { t.hastened, t.baud = baud, baud }}, w, t.memory)
	if err == nil && t.baud > 0 {
		t.memory.SaveAdapter(func(k *job.KnownAdapter) { k.Baud = t.baud })
	}
	var none job.NoAdapterError
	// Wireless adapters take one client at a time and hang up on another.
	if errors.As(err, &none) && t.address.Kind == link.Network && errors.Is(err, link.ErrGone) {
		err = fmt.Errorf("%s closed the connection at once; another program may be using the adapter, or something else is there: check the address", t.address.Host)
	}
	if errors.As(err, &none) && t.address.Kind == link.Network && errors.Is(err, elm.Silent) {
		err = fmt.Errorf("%s takes the connection and says nothing; another program may be using the adapter, which serves one at a time: end that, or pull the adapter and put it back", t.address.Host)
	}
	return c, err
}

// setup is what is known of the car beside what it tells: of the simulated one its name and its coils.
func (t *target) setup() job.Setup {
	if t.sim == nil {
		return job.Setup{Ignition: cause.IgnitionUnknown.Key()}
	}
	v := t.sim.Car.Vehicle()
	s := job.Setup{Title: v.Name, CoilEach: len(v.Coils) == 0, Ignition: cause.SharedCoils.Key()}
	if s.CoilEach {
		s.Ignition = cause.CoilOnPlug.Key()
	}
	return s
}
