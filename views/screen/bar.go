package screen

import "math"

// The bar's scale: four powers of ten, from 0.1 to 1,000 misses per 1,000 firings.
const (
	barLow     = 0.1
	barDecades = 4
)

// barEnd is how many of w cells a value per 1,000 firings fills on the log scale: 0 up to 0.1, w from 1,000 on.
// A value just above 0.1 fills one, so that something seen is never drawn as nothing.
func barEnd(v float64, w int) int {
	if math.IsNaN(v) || v <= barLow {
		return 0
	}
	part := min(math.Log10(v/barLow)/barDecades, 1)
	return min(max(int(math.Round(float64(w)*part)), 1), w)
}

// bar is the three stretches of a bar of w cells: surely reached, likely, and perhaps. What is left is empty.
type bar struct{ surely, likely, maybe int }

func barOf(low, rate, high float64, w int) bar {
	a := barEnd(low, w)
	b := max(barEnd(rate, w), a)
	c := max(barEnd(high, w), b)
	return bar{a, b - a, c - b}
}

// decadeAt reports whether a power of ten (1, 10, 100) begins at a cell of a bar of w cells.
func decadeAt(cell, w int) bool {
	for d := 1; d < barDecades; d++ {
		if cell == d*w/barDecades {
			return true
		}
	}
	return false
}
