package vehicle_test

import (
	"context"
	"fmt"
	"time"

	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/vehicle"
)

// A car is reached through a dialogue with its adapter, here the simulated one, and tells what it can.
func ExampleDiscover() {
	ctx := context.Background()
	clk := clock.NewStepped(time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC))
	s, err := sim.Open("curlew", 1, clk)
	if err != nil {
		fmt.Println(err)
		return
	}
	adapter, err := elm.Connect(ctx, elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer adapter.Close()
	caps, err := vehicle.Discover(ctx, adapter)
	if err != nil {
		fmt.Println(err)
		return
	}
	codes, err := vehicle.ReadCodes(ctx, adapter, caps)
	fmt.Println(caps.Protocol, "with counts of", caps.Cylinders(), "cylinders; stored:", codes.Modules[0].Stored, err)
	// Output: ISO 15765-4, 11-bit, 500 kbit/s with counts of 6 cylinders; stored: [P0305] <nil>
}
