package chart

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"
)

// zeroLog is a logarithmic scale that has a zero: even from 0 to the knee, by decades above it. Nothing is pushed up
// from zero to be shown, and nothing close to zero is drawn as none.
type zeroLog struct{ knee float64 }

// Normalize is where a value lies between two others, 0 to 1 (plot.Normalizer).
func (s zeroLog) Normalize(low, high, x float64) float64 {
	return (s.at(x) - s.at(low)) / (s.at(high) - s.at(low))
}

// at is the value in decades: 0 at 0, 1 at the knee.
func (s zeroLog) at(x float64) float64 {
	if x <= s.knee {
		return x / s.knee
	}
	return 1 + math.Log10(x/s.knee)
}

// ticks are 0, the knee, and the decades above it, with the twos to nines between them unlabelled.
func (s zeroLog) ticks(high float64) plot.ConstantTicks {
	ticks := []plot.Tick{{Value: 0, Label: "0"}}
	for decade := s.knee; decade <= high*(1+1e-9); decade *= 10 {
		ticks = append(ticks, plot.Tick{Value: decade, Label: number(decade)})
		for n := 2.0; n < 10 && n*decade <= high; n++ {
			ticks = append(ticks, plot.Tick{Value: n * decade})
		}
	}
	return ticks
}

// decadeUnder is the power of ten at or below a value, within limits that are powers of ten themselves.
func decadeUnder(x, least, most float64) float64 {
	if !(x > least) {
		return least
	}
	return math.Min(math.Pow(10, math.Floor(math.Log10(x)+1e-9)), most)
}

// roundUp is the next 1, 2 or 5 of a decade at or above a value.
func roundUp(x float64) float64 {
	decade := math.Pow(10, math.Floor(math.Log10(x)+1e-9))
	for _, step := range []float64{1, 2, 5} {
		if x <= step*decade*(1+1e-9) {
			return step * decade
		}
	}
	return 10 * decade
}

// number writes a tick's value as plainly as it can be, thousands parted.
func number(x float64) string {
	text := strconv.FormatFloat(x, 'f', -1, 64)
	if x >= 1000 && x == math.Trunc(x) {
		return text[:len(text)-3] + "," + text[len(text)-3:]
	}
	return text
}
