package misfire

import (
	"math"

	"stumble/misfire/rate"
)

// limited is the rate of a cylinder in one cell with limits that hold for bursts of any kind. What a cell is too short to
// tell of bursts, the whole of the cylinder's running tells: where that is steady, so is the cell, unless its own blocks
// say otherwise.
func (r *review) limited(t *tally, cylinder int) (rate.Estimate, rate.Sureness) {
	b := rate.Measure(rate.LimitsLeast, 1, rate.Fitted{Ladder: &t.ladder, Rate: ratio(t.misses, t.firings+t.clear)})
	b.Firings += t.clear
	return r.sides(b, t.atLeast, r.piled[cylinder])
}

// sides gives what was measured of one cell, or the whole, its limits.
func (r *review) sides(b rate.Bursts, atLeast bool, whole rate.Bursts) (rate.Estimate, rate.Sureness) {
	e, sure := rate.LimitedBy(b, whole)
	if e.AtLeast = atLeast; atLeast && e.Firings > 0 {
		e.High = math.Inf(1)
	}
	return e, sure
}

// measured is the whole running of a cylinder as it piles up its misses, each gear state about its own rate: that a fault
// is worse in one is no burst.
func (r *review) measured(cylinder int) rate.Bursts {
	var parts []rate.Fitted
	fitted := 0.0
	for _, t := range r.gears.of(cylinder) {
		t = t.seen(r.still(cylinder))
		if t.firings > 0 {
			parts = append(parts, rate.Fitted{Ladder: &t.ladder, Rate: ratio(t.misses, t.firings+t.clear)})
			fitted++
		}
	}
	return rate.Measure(rate.LimitsLeast, math.Max(1, fitted), parts...)
}

// ratio is misses per firing; 0 without any.
func ratio(misses, firings float64) float64 {
	if firings <= 0 {
		return 0
	}
	return misses / firings
}
