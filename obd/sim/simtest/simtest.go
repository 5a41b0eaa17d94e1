// Package simtest asks simulated cars in tests: directly, without adapter and dialogue, for tests of what comes after
// them.
package simtest

import (
	"time"

	"stumble/obd"
	"stumble/obd/sim/car"
)

// Asker asks a car. It is for one goroutine.
type Asker struct {
	Car   *car.Car
	Takes time.Duration // from request to answer

	answers []car.Answer
	sample  obd.Sample
}

// Ask sends a request to all modules and gives what can be read of their answers, good until the next call; nil for
// nothing.
func (a *Asker) Ask(sent time.Time, request []byte) *obd.Sample {
	a.answers = a.Car.Request(a.answers[:0], sent, 0, request)
	a.sample.Sent, a.sample.Received, a.sample.Readings = sent, sent.Add(a.Takes), a.sample.Readings[:0]
	decode := obd.AppendLive
	if request[0] == byte(obd.TestResults) {
		decode = obd.AppendCounts
	}
	for _, answer := range a.answers {
		m := obd.Message{Module: obd.Module{ID: 0x7D8 + uint32(answer.Module), Bits: 11}, Data: answer.Data}
		if readings, err := decode(a.sample.Readings, m); err == nil {
			a.sample.Readings = readings
		}
	}
	if len(a.sample.Readings) == 0 {
		return nil
	}
	return &a.sample
}

// Round is what is asked in turn, much as package vehicle does: engine values, and after every second of them a
// counter, the gear, the lamp or slow values.
type Round struct {
	Cylinders int
	Slow      []byte // PIDs of service 01 that are asked for seldom
	Lamp      bool   // it is asked for, too

	turn   int // requests so far
	others int // of them, other than for engine values
	counts int // of those, for a counter
}

// Next is the next request.
func (r *Round) Next() []byte {
	if r.turn++; r.turn%3 != 0 {
		return []byte{0x01, obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDFuelSystem}
	}
	switch r.others++; {
	case r.others%10 == 1:
		return append([]byte{0x01}, r.Slow...)
	case r.others%7 == 0 && r.Lamp:
		return []byte{0x01, obd.PIDStatus}
	case r.others%4 == 0:
		return []byte{0x01, obd.PIDAuxiliary, obd.PIDGear}
	}
	r.counts++
	return []byte{0x06, obd.MIDCylinder1 + byte(r.counts%r.Cylinders)}
}

// Helper watches the lever, as somebody who marks the gear a second after it was moved. The zero Helper has not looked
// yet.
type Helper struct {
	lever car.GearState
	since time.Time
	told  bool
}

// Look reports whether the lever is to be marked now, and where it is.
func (h *Helper) Look(c *car.Car, at time.Time) (lever car.GearState, marks bool) {
	if g := c.State(at).Gear; g != h.lever || h.since.IsZero() {
		h.lever, h.since, h.told = g, at, false
	}
	marks = !h.told && at.Sub(h.since) >= time.Second
	h.told = h.told || marks
	return h.lever, marks
}
