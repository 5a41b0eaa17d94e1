package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Cutting windows up so that the misses stay in the middle hides nothing more;
// only lumps do. One window alone says nothing.
func TestTrendOfOneWindowSaysNothing(t *testing.T) {
	var tr Trend
	u, judged := tr.Steepness(1)
	require.Zero(t, u)
	require.False(t, judged)
	tr.Add(50, 1000)
	u, judged = tr.Steepness(1)
	require.Zero(t, u)
	require.False(t, judged)
	tr.Add(50, 0)
	require.Equal(t, Count{50, 1000}, tr.Total())
}

func TestTrendSignAndJudgement(t *testing.T) {
	var later, earlier Trend
	for i := range 10 {
		later.Add(float64(i), 400)
		earlier.Add(float64(9-i), 400)
	}
	u, judged := later.Steepness(1)
	v, _ := earlier.Steepness(1)
	require.True(t, judged)
	require.Greater(t, u, 3.0)
	require.InDelta(t, -u, v, 1e-12)
	w, _ := later.Steepness(4)
	require.InDelta(t, u/2, w, 1e-12)
	_, judged = later.Steepness(45.0 / 3)
	require.False(t, judged, "three effective misses")
	require.InDelta(t, 0.0013499, ChanceOfTrend(3), 1e-7) // normal table
}

func TestCombineTrends(t *testing.T) {
	require.Zero(t, CombineTrends(nil))
	require.Zero(t, CombineTrends([]Steep{{3, 0}, {2, math.NaN()}}))
	require.InDelta(t, 2, CombineTrends([]Steep{{2, 9}}), 1e-12)
	require.InDelta(t, 2*math.Sqrt2, CombineTrends([]Steep{{2, 9}, {2, 9}}), 1e-12)
}

// Steady running is called worse (5 % one-sided) at most 5.5 % of the time,
// bursts or not; without phi bursts would make it 15 % and more. A threefold
// rise along the drive is found.
func TestTrendKeepsItsLevelAndFindsARise(t *testing.T) {
	for _, f := range []fault{steady{0.01}, badRuns{0.01, 5, 0.5}, badRuns{0.01, 40, 0.5}, clusters{0.01, 10, 4}} {
		rng := seeded(60)
		var wrong, without, found, judgedDrives float64
		drives := many(600)
		for range drives {
			low, high := f.drive(rng, 400), f.at(f.rate()*3).drive(rng, 200)
			phi, _ := measured(low).Local()
			u, judged := steepness(low, phi)
			if !judged {
				continue
			}
			judgedDrives++
			if u > 1.645 {
				wrong++
			}
			if v, _ := steepness(low, 1); v > 1.645 {
				without++
			}
			risen := append(append([]float64(nil), low[:200]...), high...)
			phi, _ = measured(risen).Local()
			if u, _ := steepness(risen, phi); u > 1.645 {
				found++
			}
		}
		t.Logf("%T %v: steady called worse in %.1f %%, without phi %.1f %%; threefold rise found in %.0f %%",
			f, f, 100*wrong/judgedDrives, 100*without/judgedDrives, 100*found/judgedDrives)
		require.LessOrEqual(t, wrong/judgedDrives, 0.055)
		if f.dispersion() > 4 {
			require.Greater(t, without/judgedDrives, 0.15)
		}
		if f.dispersion() < 6 {
			require.Greater(t, found/judgedDrives, 0.9)
		}
	}
}

func steepness(blocks []float64, phi float64) (float64, bool) {
	var tr Trend
	for _, x := range blocks {
		tr.Add(x, 100)
	}
	return tr.Steepness(phi)
}

func BenchmarkTrend(b *testing.B) {
	var tr Trend
	b.ReportAllocs()
	for b.Loop() {
		tr.Add(1, 100)
	}
}
