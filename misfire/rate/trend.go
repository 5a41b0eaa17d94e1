package rate

import "math"

// Trend tells whether the misses of one cylinder in one condition crowd towards
// the end of a drive, on the axis of firings. The zero value is ready.
//
// It is the Laplace test for grouped counts, the score test of a rate that
// grows exponentially (Laplace 1773; Cox and Lewis 1966; NIST/SEMATECH
// e-Handbook 8.2.3.4): exact about lumps, since a miss counts at the middle of
// its window. It keeps sums only: constant memory, no allocation.
type Trend struct {
	total   Count
	moments float64 // sum of misses x middle of their window
	cubes   float64 // sum of firings^3
}

// Add takes the next window: misses among firings. Running left out in between
// is left out of the axis too. A window without firings is skipped.
func (t *Trend) Add(misses, firings float64) {
	c := Count{misses, firings}.clean()
	if c.Firings == 0 {
		return
	}
	t.moments += c.Misses * (t.total.Firings + c.Firings/2)
	t.cubes += c.Firings * c.Firings * c.Firings
	t.total = t.total.plus(c)
}

// Steepness is Laplace's U over sqrt(phi): a standard normal number if nothing
// changed, positive when misses came more often later. phi is the one between
// neighbours, [Dispersion.Local]. It is judged only with
// four effective misses (normal already there: Bartholomew 1956). If watching
// stopped because a miss came, leave that miss out.
func (t *Trend) Steepness(phi float64) (u float64, judged bool) {
	phi = atLeastOne(phi)
	n := t.total.Firings
	// The variance of a miss's place: a rectangle's, less what the windows hide.
	variance := n*n/12 - t.cubes/(12*n)
	if t.total.Misses == 0 || !(variance > 1e-12*n*n) {
		return 0, false
	}
	u = (t.moments - t.total.Misses*n/2) / math.Sqrt(t.total.Misses*variance*phi)
	return u, t.total.Misses/phi >= 4
}

// Total is everything added so far.
func (t *Trend) Total() Count { return t.total }

// Steep is one condition's trend for [CombineTrends].
type Steep struct {
	U         float64 // from [Trend.Steepness]
	Effective float64 // effective misses behind it
}

// CombineTrends is one steepness over several conditions (Stouffer 1949),
// weighted by the square root of their effective misses; 0 without any.
func CombineTrends(trends []Steep) float64 {
	var sum, weight float64
	for _, t := range trends {
		k := count(t.Effective)
		sum += math.Sqrt(k) * t.U
		weight += k
	}
	if weight == 0 {
		return 0
	}
	return sum / math.Sqrt(weight)
}

// ChanceOfTrend is how often chance alone gives at least this steepness.
func ChanceOfTrend(u float64) float64 { return normalUpper(u) }
