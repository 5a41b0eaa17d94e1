package say_test

import (
	"fmt"

	"stumble/misfire/gear"
	"stumble/views/say"
)

// One place has the words for results.
func ExampleWords() {
	w := say.English()
	fmt.Println(w.Cylinders([]int{3, 5}), w.InGear(gear.Drive), "miss", w.Rate(31.2), "of", say.Grouped(1000), "firings")
	// Output: cylinders 3 and 5 in Drive miss 31 of 1,000 firings
}
