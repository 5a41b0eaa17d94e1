package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mathext"
)

// The quantile must give its probability back over the whole range that counts
// and firings can span, the library's own inverse being off at the ends.
func TestBetaQuantileGivesItsProbabilityBack(t *testing.T) {
	for _, a := range []float64{0.01, 0.25, 1, 3.7, 31, 998, 65535, 1e5} {
		for _, b := range []float64{0.25, 1, 3, 969, 1e5, 2e6, 3e7} {
			for _, p := range []float64{1e-6, 0.025, 0.05, 0.5, 0.95, 0.975} {
				q := betaQuantile(p, a, b)
				if q < 1e-290 || 1-q < 1e-9 {
					continue // beyond what a number between 0 and 1 can hold
				}
				require.InEpsilonf(t, p, mathext.RegIncBeta(a, b, q), 1e-8, "p=%v a=%v b=%v q=%v", p, a, b, q)
			}
		}
	}
}

// Closed forms: x = 1 - (1-p)^(1/b) for a = 1, and p^(1/a) for b = 1.
func TestBetaQuantileClosedForms(t *testing.T) {
	for _, n := range []float64{1, 2.5, 1000, 6e4, 2e6} {
		for _, p := range []float64{1e-9, 0.025, 0.5, 0.975} {
			require.InEpsilon(t, -math.Expm1(math.Log1p(-p)/n), betaQuantile(p, 1, n), 1e-8)
			require.InEpsilon(t, math.Pow(p, 1/n), betaQuantile(p, n, 1), 1e-8)
		}
	}
	require.Zero(t, betaQuantile(0.025, 0, 5))
	require.Equal(t, 1.0, betaQuantile(0.025, 5, 0))
}

func TestUpperTailIsTheBinomialSum(t *testing.T) {
	choose := func(n, k float64) float64 {
		l1, _ := math.Lgamma(n + 1)
		l2, _ := math.Lgamma(k + 1)
		l3, _ := math.Lgamma(n - k + 1)
		return math.Exp(l1 - l2 - l3)
	}
	for _, n := range []float64{1, 7, 40} {
		for _, p := range []float64{0.001, 0.3, 0.97} {
			sum := 0.0
			for x := n; x >= 0; x-- {
				sum += choose(n, x) * math.Pow(p, x) * math.Pow(1-p, n-x)
				require.InDelta(t, sum, upperTail(x, n, p), 1e-12)
			}
			require.Zero(t, upperTail(n+1, n, p))
		}
	}
	require.Equal(t, 1.0, upperTail(0, 5, 0))
	require.Equal(t, 1.0, upperTail(5, 5, 1))
	require.Zero(t, upperTail(3, 5, 0))
}

func TestCrossing(t *testing.T) {
	cube := func(x float64) float64 { return (x - 40) * (x - 40) * (x - 40) }
	require.InDelta(t, 40, crossing(cube, 0, 1), 1e-4)
	require.InDelta(t, -7, crossing(func(x float64) float64 { return x + 7 }, 3, 1), 1e-12)
	require.InDelta(t, math.Log(3), crossing(func(x float64) float64 { return math.Exp(x) - 3 }, 0, 1), 1e-13)
	require.Equal(t, 2.0, crossing(func(x float64) float64 { return x - 2 }, 2, 1))
	// Never crossing: it must end, far out.
	require.Greater(t, crossing(func(float64) float64 { return -1 }, 0, 1), 1000.0)
	require.Less(t, crossing(func(float64) float64 { return 1 }, 0, 1), -1000.0)
}
