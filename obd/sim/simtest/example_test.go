package simtest_test

import (
	"fmt"
	"time"

	"stumble/obd"
	"stumble/obd/sim/car"
	"stumble/obd/sim/simtest"
)

// A car is asked without an adapter between; two of its modules tell the engine speed.
func ExampleAsker() {
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	c, err := car.NewScenario("curlew", 1, start)
	if err != nil {
		fmt.Println(err)
		return
	}
	a := simtest.Asker{Car: c, Takes: 20 * time.Millisecond}
	s := a.Ask(start.Add(time.Minute), []byte{0x01, obd.PIDRPM})
	fmt.Println(len(s.Readings), s.Readings[0].Unit, s.Received.Sub(s.Sent))
	// Output: 2 rpm 20ms
}
