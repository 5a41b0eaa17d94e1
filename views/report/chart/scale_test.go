package chart

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The scale has a true zero, decades of equal length above the knee, and never turns back.
func TestZeroLog(t *testing.T) {
	for _, knee := range []float64{0.01, 0.1, 1} {
		s := zeroLog{knee}
		assert.Zero(t, s.Normalize(0, 1000, 0))
		assert.Equal(t, 1.0, s.Normalize(0, 1000, 1000))
		decade := s.at(1000) - s.at(100)
		assert.InDelta(t, 1, decade, 1e-12)
		assert.InDelta(t, decade, s.at(10*knee)-s.at(knee), 1e-12)
		assert.InDelta(t, 0.5, s.at(knee/2), 1e-12, "even below the knee")
		last := -1.0
		for x := 0.0; x < 1000; x = x*1.01 + 1e-6 {
			require.Greater(t, s.at(x), last, "at %v", x)
			last = s.at(x)
		}
	}
}

func TestTicksOfZeroLog(t *testing.T) {
	labels := func(knee, high float64) (texts []string) {
		for _, tick := range (zeroLog{knee}).ticks(high) {
			assert.LessOrEqual(t, tick.Value, high)
			if !tick.IsMinor() {
				texts = append(texts, tick.Label)
			}
		}
		return texts
	}
	assert.Equal(t, []string{"0", "0.1", "1", "10", "100", "1,000"}, labels(0.1, 1000))
	assert.Equal(t, []string{"0", "0.001", "0.01", "0.1", "1"}, labels(0.001, 5))
}

func TestRounding(t *testing.T) {
	for x, want := range map[float64]float64{1: 1, 1.1: 2, 2: 2, 3: 5, 5: 5, 5.1: 10, 70: 100, 0.03: 0.05} {
		assert.InDelta(t, want, roundUp(x), 1e-12, "%v", x)
	}
	for x, want := range map[float64]float64{0.5: 0.1, 0.1: 0.1, 1e-9: 0.01, 50: 1, 0: 0.01} {
		assert.InDelta(t, want, decadeUnder(x, 0.01, 1), 1e-12, "%v", x)
	}
	assert.Equal(t, 0.01, decadeUnder(math.NaN(), 0.01, 1))
}
