package rate_test

import (
	"fmt"

	"stumble/misfire/rate"
)

// None seen is not none: how high the rate may still be depends on how much ran.
func ExampleInterval() {
	for _, firings := range []float64{200, 6000} {
		e := rate.Interval(0, firings, 1)
		fmt.Printf("none in %.0f firings: at most %.1f of 1,000\n", firings, e.High)
	}
	// Output:
	// none in 200 firings: at most 18.3 of 1,000
	// none in 6000 firings: at most 0.6 of 1,000
}
