package obd_test

import (
	"fmt"

	"stumble/obd"
)

// A whole message becomes typed values.
func ExampleAppendLive() {
	m := obd.Message{Module: obd.Module{ID: 0x7E8, Bits: 11}, Data: []byte{0x41, 0x0C, 0x0B, 0x98, 0x05, 0x7D}}
	readings, err := obd.AppendLive(nil, m)
	for _, r := range readings {
		fmt.Println(r.Value, r.Unit)
	}
	fmt.Println(err)
	// Output:
	// 742 rpm
	// 85 °C
	// <nil>
}

// A misfire code names its cylinder.
func ExampleCode_MisfireCylinder() {
	cylinder, ok := obd.Code(0x0305).MisfireCylinder()
	fmt.Println(obd.Code(0x0305), cylinder, ok)
	// Output: P0305 5 true
}
