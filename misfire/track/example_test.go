package track_test

import (
	"fmt"
	"time"

	"stumble/misfire/track"
	"stumble/obd"
)

// The engine's own module is believed: that with the lowest address of those that tell an engine speed.
func ExampleState() {
	s := track.New()
	at := time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)
	for _, said := range []struct {
		module uint32
		rpm    float64
	}{{0x7E9, 655}, {0x7E8, 742}, {0x7E9, 660}} {
		s.Take(&obd.Reading{Module: obd.Module{ID: said.module, Bits: 11}, Service: obd.LiveData, ID: obd.PIDRPM, Value: said.rpm}, at)
	}
	fmt.Println(s.RPM.V, s.Running, s.Warm())
	// Output: 742 true false
}
