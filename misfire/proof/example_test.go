package proof_test

import (
	"fmt"
	"time"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
)

// A cylinder is judged on running alike: none in 9,000 firings where 31 of 1,000 failed proves it, none in 50 does not. What
// the whole comparison comes to waits for the codes and the engine starts, too.
func ExampleCompare() {
	layout, _ := engine.Find("i4-1342")
	idling := func(misses, firings float64) proof.Side {
		c := misfire.Cell{
			Cylinder: 2, Condition: misfire.Condition{Gear: gear.Drive, Load: misfire.BandOfLoad(34), RPM: misfire.BandOfRPM(690), Warm: true},
			Estimate: rate.Interval(misses, firings, 1), Reported: true, Apart: true, Judged: true, RPM: 690, Load: 34,
			Running: time.Hour, Decides: rate.Count{Misses: misses, Firings: firings},
			Windows: int(firings / 100), Uneven: 1, Guard: 1,
		}
		if misses > 0 {
			c.Pauses = new(rate.PauseTally)
			for range int(misses) { // one by one
				c.Pauses.Add(0, firings/misses-1)
				c.Pauses.Add(1, 1)
			}
		}
		whole := c
		whole.Condition = misfire.Condition{Gear: gear.Drive}
		s := &misfire.Summary{Engine: layout, Running: time.Hour, Cells: []misfire.Cell{c}, ByGear: []misfire.Cell{whole}}
		for i := range layout.Cylinders {
			s.Total = append(s.Total, misfire.Cell{Cylinder: i + 1, Reported: true})
		}
		s.Total[1].Estimate = c.Estimate
		return proof.Side{Drives: []*misfire.Summary{s}}
	}
	for _, after := range []float64{50, 9000} {
		c, err := proof.Compare(proof.Input{Before: idling(124, 4000), After: idling(0, after)})
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Println(after, "firings:", c.Cylinders[0].Outcome)
	}
	// Output:
	// 50 firings: not_yet
	// 9000 firings: proven
}
