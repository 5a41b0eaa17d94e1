package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// "r = 1 per 1,000, 95 %: 2,996 firings = 7.5 min at 800 rpm; phi = 8: 60 min".
func TestToSeeOnce(t *testing.T) {
	n := ToSeeOnce(0.001, 0.05, 1)
	require.InDelta(t, 2996, n, 1)
	require.InDelta(t, 7.5, Minutes(n, 800), 0.02)
	require.InDelta(t, 60, Minutes(ToSeeOnce(0.001, 0.05, 8), 800), 0.1)
	require.True(t, math.IsInf(ToSeeOnce(0, 0.05, 1), 1))
	for _, chance := range []float64{0, 1, -1, math.NaN()} {
		require.True(t, math.IsNaN(ToSeeOnce(0.001, chance, 1)))
	}
	require.True(t, math.IsNaN(Minutes(100, 0)))
}

// After ten cycles with a steady count c the car shows 0.651 c; after a repair
// it halves in 6.6 cycles.
func TestAverageKept(t *testing.T) {
	ten := make([]float64, 10)
	for i := range ten {
		ten[i] = 100
	}
	require.InDelta(t, 65.1, AverageKept(0, ten...), 0.05)
	require.Greater(t, AverageKept(100, make([]float64, 6)...), 50.0)
	require.Less(t, AverageKept(100, make([]float64, 7)...), 50.0)
	require.Equal(t, 7.0, AverageKept(7))
}
