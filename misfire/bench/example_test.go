package bench_test

import (
	"fmt"

	"stumble/misfire/bench"
)

// Readings are read as they are typed, and judged among each other.
func ExampleJudge() {
	kind, err := bench.FindKind("wire")
	if err != nil {
		fmt.Println(err)
		return
	}
	entry := bench.Entry{Kind: kind, Cylinders: 4}
	var readings []bench.Reading
	for _, typed := range []string{"1=11.5kohm@60cm", "2=OL@60cm"} {
		r, err := entry.Parse(typed)
		if err != nil {
			fmt.Println(err)
			return
		}
		readings = append(readings, r...)
	}
	for _, j := range bench.Judge(readings) {
		fmt.Println("cylinder", j.Reading.Cylinder, "is", j.Mark)
	}
	// Output:
	// cylinder 1 is good
	// cylinder 2 is bad
}
