package rate

import (
	"math"
	"slices"
)

// Median returns the middle of some values, the mean of the two middle ones where their number is even; NaN of none. It
// changes none of them.
func Median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	if n == 0 {
		return math.NaN()
	}
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
