package wrap_test

import (
	"fmt"

	"stumble/views/wrap"
)

func ExampleText() {
	for _, line := range wrap.Text("Cylinder 5 misses 31 of 1,000 firings in Drive.", 24) {
		fmt.Println(line)
	}
	// Output:
	// Cylinder 5 misses 31 of
	// 1,000 firings in Drive.
}
