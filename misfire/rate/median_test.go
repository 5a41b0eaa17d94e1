package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestMedian(t *testing.T) {
	values := []float64{60, 12, 52, 50}
	assert.InDelta(t, 51, Median(values), 1e-12)
	assert.InDelta(t, 60, values[0], 0, "they keep their order")
	assert.InDelta(t, 50, Median([]float64{60, 12, 50}), 1e-12)
	assert.True(t, math.IsNaN(Median(nil)))
}
