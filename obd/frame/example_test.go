package frame_test

import (
	"fmt"

	"stumble/obd"
	"stumble/obd/frame"
)

// The lines of one answer become one message, in whatever order its frames came.
func ExampleAssembler() {
	var a frame.Assembler
	a.Reset(frame.Format{Protocol: obd.CAN11At500, Headers: true})
	for _, line := range []string{"7E8 10 08 49 04 01 41 42 43", "7E8 21 44 45 00 00 00 00 00"} {
		if err := a.Line([]byte(line)); err != nil {
			fmt.Println(err)
		}
	}
	messages, err := a.Messages()
	for _, m := range messages {
		fmt.Printf("%s: % X\n", m.Module, m.Data)
	}
	fmt.Println(err)
	// Output:
	// 7E8: 49 04 01 41 42 43 44 45
	// <nil>
}
