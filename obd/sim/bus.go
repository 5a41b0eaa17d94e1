// Package sim is a simulated ELM327-compatible adapter, plugged into a simulated car. It speaks the same
// bytes as the real thing, takes as long, and knows what it simulated: good enough to practise on, to try
// another program against, and to test this one.
package sim

import (
	"time"

	"stumble/obd"
	"stumble/obd/sim/car"
)

// Bus is the car's diagnostic socket as the adapter sees it. Times never run backwards.
type Bus interface {
	// Protocol is what the car speaks.
	Protocol() obd.Protocol
	// Ignition reports whether the modules are awake at a time; asleep, nothing answers.
	Ignition(at time.Time) bool
	// Voltage is the supply at pin 16, in volts.
	Voltage(at time.Time) float64
	// Request hands one service request to a module by node address, or to all of them when node is 0, and
	// appends what they answer to dst, ordered by delay. No answer leaves dst as it was.
	Request(dst []car.Answer, at time.Time, node byte, request []byte) []car.Answer
}
