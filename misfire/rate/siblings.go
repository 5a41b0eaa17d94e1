package rate

import (
	"cmp"
	"math"
	"slices"
)

// Sibling is one cylinder against all of the engine.
type Sibling struct {
	Rate     Estimate // with the pooled phi
	Share    float64  // of all misses; NaN when there are none
	Chance   float64  // one-sided: at least so many of all misses here if all missed alike
	Adjusted float64  // the same by Holm's method, for having looked at every cylinder
	Odd      bool     // stands out: Adjusted below 1 % and the rate above the ceiling
	Failing  bool     // the rate's lower limit is above the ceiling, odd or not
}

// Siblings is the answer to "is it one cylinder?".
type Siblings struct {
	Cylinders []Sibling // in the order given
	Total     Estimate  // all cylinders together

	// Random tells that the engine as a whole is above the ceiling, yet no
	// cylinder stands out.
	Random bool
}

// CompareSiblings judges each cylinder of an engine, in like running, against
// the others: its misses are binomial among all misses with its share of the
// firings, and Holm's method (Holm 1979) makes up for looking at every
// cylinder. phi is pooled over the cylinders ([PooledPhi]); ceiling is per
// 1,000 firings ([Ceiling]). With most cylinders bad no share stands out: then
// Failing still speaks.
func CompareSiblings(cylinders []Count, phi, ceiling float64) Siblings {
	phi = atLeastOne(phi)
	var total Count
	for _, c := range cylinders {
		total = total.plus(c.clean())
	}
	s := Siblings{Cylinders: make([]Sibling, len(cylinders)), Total: Interval(total.Misses, total.Firings, phi)}
	chances := make([]float64, len(cylinders))
	for i, c := range cylinders {
		c = c.clean()
		chances[i] = upperTail(c.Misses/phi, total.Misses/phi, Count{c.Firings, total.Firings}.Rate())
		s.Cylinders[i] = Sibling{
			Rate:   Interval(c.Misses, c.Firings, phi),
			Share:  Count{c.Misses, total.Misses}.Rate(),
			Chance: chances[i],
		}
	}
	s.Random = s.Total.Above(ceiling)
	for i, adjusted := range Holm(chances) {
		c := &s.Cylinders[i]
		c.Adjusted = adjusted
		c.Failing = c.Rate.Above(ceiling)
		c.Odd = c.Failing && adjusted < 0.01
		s.Random = s.Random && !c.Odd
	}
	return s
}

// Holm adjusts chances for having looked at all of them (Holm 1979): the
// smallest times their number, the next times one less, and so on, never
// falling and at most 1. It needs no independence.
func Holm(chances []float64) []float64 {
	order := make([]int, len(chances))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(chances[a], chances[b]) })
	adjusted := make([]float64, len(chances))
	running := 0.0
	for rank, i := range order {
		running = math.Max(running, math.Min(1, chances[i]*float64(len(chances)-rank)))
		adjusted[i] = running
	}
	return adjusted
}

// Burst is one cylinder's dispersion and the misses it was measured on.
type Burst struct {
	Phi    float64
	Misses float64
}

// PooledPhi is the dispersion of several cylinders together, weighted by their
// misses; 1 when none has any.
func PooledPhi(bursts []Burst) float64 {
	var sum, weight float64
	for _, b := range bursts {
		m := count(b.Misses)
		sum += m * atLeastOne(b.Phi)
		weight += m
	}
	if weight == 0 {
		return 1
	}
	return sum / weight
}
