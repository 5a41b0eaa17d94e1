package rate

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestIntervalSaysWhatItMeans(t *testing.T) {
	// R's binom.test(31, 1000): see clopper_pearson rows of the vectors.
	e := Interval(31, 1000, 1)
	require.InDelta(t, 31, e.Rate, 1e-12)
	require.InDelta(t, 21.158, e.Low, 1e-3)
	require.InDelta(t, 43.715, e.High, 1e-3)
	require.True(t, e.Known())
	require.True(t, e.Above(Ceiling))
	require.False(t, e.Above(22))

	bursty := Interval(31, 1000, 4)
	require.Equal(t, e.Rate, bursty.Rate)
	require.Less(t, bursty.Low, e.Low)
	require.Greater(t, bursty.High, e.High)
	require.Equal(t, 31.0/4, bursty.Effective())
	require.Equal(t, Interval(31.0/4, 250, 1).Low, bursty.Low, "limits are those of the effective counts")

	none := Interval(0, 6000, 1)
	require.Zero(t, none.Low)

	dead := Interval(1000, 1000, 1)
	require.Equal(t, 1000.0, dead.High)
	require.InDelta(t, 996.3, dead.Low, 0.1)
}

func TestIntervalUnderImpossibleInput(t *testing.T) {
	for _, e := range []Estimate{Interval(3, 0, 1), Interval(3, -5, 1), Interval(3, math.NaN(), 1), AtLeast(3, 0, 1)} {
		require.False(t, e.Known())
		require.True(t, math.IsNaN(e.Rate) && math.IsNaN(e.Low))
		require.False(t, e.Above(0))
	}
	require.Equal(t, Interval(0, 100, 1), Interval(-3, 100, math.NaN()))
	require.Equal(t, Interval(3, 100, 1), Interval(3, 100, 0.4))

	over := Interval(1200, 1000, 1)
	require.True(t, over.Overcounted())
	require.InDelta(t, 1200, over.Rate, 1e-9)
	require.Equal(t, 1000.0, over.High)
	require.False(t, Interval(1003, 1000, 1).Overcounted(), "firings from rounded speed may fall a little short")
	require.False(t, Interval(1, 0.7, 1).Overcounted())
}

func TestAtLeastKeepsTheLowerLimitOnly(t *testing.T) {
	e := AtLeast(65000, 1e6, 1)
	require.True(t, e.AtLeast)
	require.True(t, math.IsInf(e.High, 1))
	require.Equal(t, Interval(65000, 1e6, 1).Low, e.Low)
}

// Exact coverage of Clopper-Pearson, summed over all counts: never under 95 %
// (Clopper and Pearson 1934), and wide at few misses, the means being those of
// the table in Brown, Cai and DasGupta's sense: about 98.6 % at 0.5 to 3
// expected, 97.0 % at 3 to 10, 96.2 % at 10 to 30.
func TestIntervalCoverageExactly(t *testing.T) {
	const n = 2000
	limits := make([]Estimate, 0, 120)
	for x := range 120 {
		limits = append(limits, Interval(float64(x), n, 1))
	}
	covered := func(mean float64) float64 {
		var sum float64
		p := mean / n
		for x, e := range limits {
			if e.Low <= 1000*p && 1000*p <= e.High {
				k := float64(x)
				sum += upperTail(k, n, p) - upperTail(k+1, n, p)
			}
		}
		return sum
	}
	for _, band := range []struct{ from, to, want float64 }{{0.5, 3, 0.986}, {3, 10, 0.970}, {10, 30, 0.962}} {
		t.Run(fmt.Sprint(band.from, " to ", band.to), func(t *testing.T) {
			var sum, steps float64
			for mean := band.from; mean < band.to; mean *= 1.01 {
				c := covered(mean)
				require.GreaterOrEqual(t, c, 0.95-1e-9)
				sum += c
				steps++
			}
			require.InDelta(t, band.want, sum/steps, 0.004)
		})
	}
}

// hostile is every kind of number that arithmetic upstream could let through.
var hostile = []float64{math.NaN(), math.Inf(1), math.Inf(-1), -3, 0, 5e-324, 1e-9, 0.5, 1, 3, 250.25, 65535, 1e9, math.MaxFloat64}

// Nothing in the package may panic or give limits that do not hold the rate,
// whatever it is fed.
func TestHostileNumbersGiveDefinedResults(t *testing.T) {
	simulation(t)
	ordered := func(low, high float64) bool { return !(low > high) }
	for _, x := range hostile {
		for _, n := range hostile {
			for _, phi := range []float64{math.NaN(), -1, 1, 7.5, 1e6, math.Inf(1)} {
				at := fmt.Sprintf("x=%v n=%v phi=%v", x, n, phi)
				for _, e := range []Estimate{Interval(x, n, phi), AtLeast(x, n, phi)} {
					require.True(t, ordered(e.Low, e.High), at)
					require.GreaterOrEqual(t, e.Phi, 1.0, at)
					require.Equal(t, e.Known(), !math.IsNaN(e.Low), at)
				}
				c := Compare(Count{x, n}, Count{n, x}, phi)
				require.True(t, ordered(c.Low, c.High), at)
				require.InDelta(t, 1, c.Greater+c.Less, 1e-3, at)
				ToSeeOnce(x, n, phi)
				Minutes(x, n)
				s := CompareSiblings([]Count{{x, n}, {3, 100}, {n, x}}, phi, x)
				require.Len(t, s.Cylinders, 3)
			}
			require.GreaterOrEqual(t, PooledPhi([]Burst{{x, n}}), 1.0)
			require.False(t, math.IsNaN(AverageKept(x, n)))
		}
	}
}

func BenchmarkInterval(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		Interval(31, 1000, 1.7)
	}
}
