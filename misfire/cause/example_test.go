package cause_test

import (
	"fmt"

	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/obd"
)

// By codes alone little is sure; the shares say how little.
func ExampleBook_Explain() {
	layout, _ := engine.Find("v6-along-142536")
	r := cause.StandardBook().Explain(cause.Evidence{
		Engine: layout, Ignition: cause.CoilOnPlug, Codes: cause.Codes{Read: true, Set: []obd.Code{0x0305}},
	})
	sum := 0.0
	for _, c := range r.Ranked {
		sum += c.Share
	}
	fmt.Printf("the likeliest sits on cylinder %v; all shares come to %.2f; the best test is %s\n", r.Ranked[0].Cylinders, sum, r.Next.Key)
	// Output: the likeliest sits on cylinder [5]; all shares come to 1.00; the best test is read_plug
}
