package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// "15 times as often in Drive as in Park": 31 in 1,000 against 2 in 1,000.
func TestCompareParkWithDrive(t *testing.T) {
	c := Compare(Count{31, 1000}, Count{2, 1000}, 1)
	require.InDelta(t, 15.5, c.Ratio, 1e-12)
	require.InDelta(t, 3.9, c.Low, 0.1)
	require.InDelta(t, 134, c.High, 1)
	require.Less(t, c.Greater, 1e-6)
	require.InDelta(t, 1, c.Greater+c.Less, 1e-12)
}

// Turned round, the ratio and its limits are the reciprocals.
func TestCompareTurnedRound(t *testing.T) {
	rng := seeded(10)
	for range 200 {
		a := Count{math.Floor(rng.Float64() * 40), 100 + 5000*rng.Float64()}
		b := Count{1 + math.Floor(rng.Float64()*40), 100 + 5000*rng.Float64()}
		phi := 1 + 3*rng.Float64()
		x, y := Compare(a, b, phi), Compare(b, a, phi)
		require.InEpsilon(t, x.High, 1/y.Low, 1e-8)
		require.InDelta(t, x.Low, 1/y.High, 1e-8*x.Low)
		require.InDelta(t, x.Greater, y.Less, 1e-12)
		require.Equal(t, Compare(Count{a.Misses / phi, a.Firings}, Count{b.Misses / phi, b.Firings}, 1).High, x.High, "effective counts")
	}
}

func TestCompareWithoutMissesOrFirings(t *testing.T) {
	for _, c := range []Comparison{
		Compare(Count{0, 500}, Count{0, 700}, 1),
		Compare(Count{3, 0}, Count{5, 700}, 1),
	} {
		require.True(t, math.IsNaN(c.Ratio))
		require.Zero(t, c.Low)
		require.True(t, math.IsInf(c.High, 1))
		require.Equal(t, 0.5, c.Greater)
		require.Equal(t, 0.5, c.Less)
	}
	only := Compare(Count{12, 100}, Count{0, 100}, 1)
	require.True(t, math.IsInf(only.Ratio, 1))
	require.True(t, math.IsInf(only.High, 1))
	require.Greater(t, only.Low, 1.0)
}

// The mid-p test may err a little above its 5 % at some counts but keeps it on
// average (Hwang and Yang 2001): equal rates, called different 3 to 5.5 %.
func TestCompareKeepsItsLevel(t *testing.T) {
	rng := seeded(11)
	var wrong float64
	n := many(20_000)
	for range n {
		mean := 2 + 20*rng.Float64()
		a, b := poissonDraw(rng, mean), poissonDraw(rng, 2*mean)
		if Compare(Count{a, 1000}, Count{b, 2000}, 1).Greater < 0.05 {
			wrong++
		}
	}
	wrong /= float64(n)
	t.Logf("%.2f %%", 100*wrong)
	require.InDelta(t, 0.045, wrong, 0.012)
}
