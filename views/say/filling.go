package say

import (
	"math"

	"stumble/misfire/gear"
	"stumble/misfire/proof"
)

// Filling is how far a proof has come while the drive runs that is to complete it: "Proof of cylinder 3: 62 % run (Drive
// 80 %, on the move 40 %)." Each gear is as full as the emptiest of its conditions.
func (w Words) Filling(c *proof.Comparison) string {
	text := ""
	for i := range c.Cylinders {
		cyl := &c.Cylinders[i]
		var places []string
		for g, filled := range filledByGear(cyl) {
			if filled <= 1 {
				places = append(places, w.tell("filling-place", w.inFrameGear(gear.State(g)), percent(filled)))
			}
		}
		one := w.tell("filling-cylinder", cyl.Cylinder, percent(cyl.Filled()), w.Commas(places))
		if text != "" {
			one = w.tell("join-sentences", text, one)
		}
		text = one
	}
	return text
}

// filledByGear is how full each gear state is; above 1 where nothing is wanted of it.
func filledByGear(cyl *proof.Cylinder) (filled [gear.States]float64) {
	for g := range filled {
		filled[g] = 2
	}
	for i := range cyl.Conditions {
		if c := &cyl.Conditions[i]; c.Failing {
			filled[c.Where.Gear] = math.Min(filled[c.Where.Gear], c.Filled())
		}
	}
	return filled
}

// percent is a share as a whole number that says 100 only where nothing is missing.
func percent(share float64) string { return whole(math.Floor(100 * share)) }
