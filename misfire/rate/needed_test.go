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

// 31 against 15.5 per 1,000 needs between 1,000 (power 0.74) and 1,400 firings
// (0.86) a side for a power of 0.8 (vectors, power_two_rates).
func TestToTellApart(t *testing.T) {
	n := ToTellApart(0.031, 0.0155, 0.8, 1)
	require.Greater(t, n, 1000.0)
	require.Less(t, n, 1400.0)
	require.InDelta(t, 0.8, Power(0.031, 0.0155, n, 1), 0.01)
	require.InDelta(t, 4*n, ToTellApart(0.031, 0.0155, 0.8, 4), 1e-6)
	require.InDelta(t, Power(0.031, 0.0155, n, 1), Power(0.031, 0.0155, 4*n, 4), 1e-12)

	require.True(t, math.IsInf(ToTellApart(0.01, 0.01, 0.8, 1), 1))
	require.True(t, math.IsInf(ToTellApart(0.01, 0.0099, 0.8, 1), 1), "more than anybody can run")
	require.True(t, math.IsInf(ToTellApart(0, 0, 0.8, 1), 1))
	require.True(t, math.IsNaN(ToTellApart(0.02, 0.01, 1, 1)))
	// Against a side that never misses five misses to none decide: (1/2)^5/2.
	never := ToTellApart(0.02, 0, 0.8, 1)
	require.InDelta(t, 0.8, upperPoisson(4, 0.02*never), 0.01, "mid-p of 4 to 0 is 1/32")
}

func TestPowerOfImpossibleRates(t *testing.T) {
	for _, v := range [][3]float64{{0, 0.1, 100}, {0.1, 0, 100}, {0.1, 0.1, 0}, {math.NaN(), 0.1, 100}, {math.Inf(1), 0.1, 100}} {
		require.True(t, math.IsNaN(Power(v[0], v[1], v[2], 1)))
	}
	require.InDelta(t, 0.04, Power(0.02, 0.02, 1000, 1), 0.02, "no difference: the test's level")
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
