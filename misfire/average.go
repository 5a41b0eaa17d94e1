package misfire

import (
	"math"

	"stumble/misfire/rate"
)

// average follows a cylinder's test 0B, the car's own average over ten driving cycles, and checks it against
// the counts: at the end of a cycle it takes in a tenth of that cycle's count (SAE J1979, from memory).
type average struct {
	now    float64       // NaN until read
	runs   bool          // the counter is followed in a driving cycle
	cycle  float64       // as first read in that cycle; NaN until then
	before float64       // the same of the cycle before; NaN when there is nothing to check
	count  float64       // what the counter showed last in the cycle before
	whole  bool          // and that was after the engine had stopped, so that nothing was left to be shown
	due    bool          // the next reading is to be checked
	odd    *AverageCheck // what disagrees; nil while nothing does
}

// AverageCheck is a driving cycle over which the car's own average of ten went otherwise than its count says.
type AverageCheck struct {
	Before, After float64 // the average, in misses a driving cycle
	Counted, Due  float64 // what the cycle counted, and the average that was due after it
}

// roundings is how far the car's own rounding may put its average, in misses: half of one at the old value,
// the new one and the count between.
const roundings = 1.5

func newAverage() average {
	return average{now: math.NaN(), cycle: math.NaN(), before: math.NaN()}
}

func (a *average) known() bool { return !math.IsNaN(a.now) }

// ended notes the end of a driving cycle.
func (a *average) ended(count int, whole bool) {
	a.before, a.count, a.whole = a.cycle, float64(count), whole && count < counterIsFull
	a.runs = false
}

// began notes that the counter is followed anew, from a value on: by now the average has taken in the cycle that
// ended. A counter that goes on where it was tells that none did, as when an engine stops at the lights.
func (a *average) began(value int) {
	a.runs, a.cycle = true, math.NaN()
	a.due = float64(value) < a.count && !math.IsNaN(a.before)
}

// read takes a reading, and checks it when a cycle has ended since the last one was checked.
func (a *average) read(value float64) {
	a.now = value
	if a.runs && math.IsNaN(a.cycle) {
		a.cycle = value
	}
	if !a.due {
		return
	}
	a.due = false
	kept := rate.AverageKept(a.before, a.count)
	// A count that was not seen to its end may have grown, so then only too low an average disagrees.
	if a.now < kept-roundings || a.whole && a.now > kept+roundings {
		a.odd = &AverageCheck{Before: a.before, After: a.now, Counted: a.count, Due: kept}
	}
	a.before = math.NaN()
}
