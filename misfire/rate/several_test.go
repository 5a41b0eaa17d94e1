package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func randomPairs(next func() float64, conditions int) []Pair {
	pairs := make([]Pair, conditions)
	for i := range pairs {
		pairs[i] = Pair{
			Count{math.Floor(next() * 12), 200 + 3000*next()},
			Count{math.Floor(next() * 12), 200 + 3000*next()},
		}
	}
	return pairs
}

// One condition is the plain comparison, with bursts too.
func TestCompareSeveralOfOneCondition(t *testing.T) {
	rng := seeded(20)
	for range 100 {
		p := randomPairs(rng.Float64, 1)
		for _, phi := range []float64{1, 2.7} {
			s, c := CompareSeveral(p, phi), Compare(p[0].A, p[0].B, phi)
			if p[0].A.Misses+p[0].B.Misses == 0 {
				require.True(t, math.IsNaN(s.Ratio))
				continue
			}
			require.InDelta(t, c.Low, s.Low, 1e-7*c.Low)
			require.InDelta(t, c.Greater, s.Greater, 1e-9)
			require.InDelta(t, c.Less, s.Less, 1e-9)
			if !math.IsInf(c.High, 1) {
				require.InEpsilon(t, c.High, s.High, 1e-7)
				require.InDelta(t, c.Ratio, s.Ratio, 1e-9*c.Ratio)
			}
		}
	}
}

// The same proportion of firings everywhere leaves nothing to stratify: the
// exact and the bounding way both give the comparison of the sums.
func TestCompareSeveralOfOneProportion(t *testing.T) {
	pairs := []Pair{{Count{4, 1000}, Count{2, 500}}, {Count{9, 3000}, Count{1, 1500}}, {Count{0, 200}, Count{3, 100}}}
	for _, phi := range []float64{1, 3} {
		s, c := CompareSeveral(pairs, phi), Compare(Count{13, 4200}, Count{6, 2100}, phi)
		require.InEpsilon(t, c.Low, s.Low, 1e-7)
		require.InEpsilon(t, c.High, s.High, 1e-7)
		require.InDelta(t, c.Greater, s.Greater, 1e-9)
		require.InEpsilon(t, c.Ratio, s.Ratio, 1e-9)
	}
}

// The tails at the limits are 2.5 %, summed outright over all splits.
func TestCompareSeveralLimitsLeaveTheirTails(t *testing.T) {
	rng := seeded(21)
	for range 30 {
		pairs := randomPairs(rng.Float64, 3)
		a, b := sides(pairs)
		if a.Misses == 0 || b.Misses == 0 {
			continue
		}
		s := CompareSeveral(pairs, 1)
		require.Equal(t, Exact, s.Method)
		at := int(a.Misses)
		require.InDelta(t, 0.025, convolve(pairs, s.Low).tail(at, s.Low), 1e-9)
		require.InDelta(t, 0.025, convolve(pairs, s.High).lowerTail(at, s.High), 1e-9)
		require.InDelta(t, 1, s.Greater+s.Less, 1e-9)
		require.InDelta(t, a.Misses, expectedOfA(pairs, s.Ratio), 1e-6)
	}
}

// Hoeffding's binomial must not be narrower than the exact sum.
func TestBoundedIsNotNarrowerThanExact(t *testing.T) {
	rng := seeded(22)
	for range 200 {
		pairs := randomPairs(rng.Float64, 4)
		a, b := sides(pairs)
		if a.Misses == 0 || b.Misses == 0 {
			continue
		}
		exact := CompareSeveral(pairs, 1)
		bounded := Several{Comparison: Comparison{Phi: 1}}
		bounded.fromMeanChance(a, b, pairs)
		require.LessOrEqual(t, bounded.Low, exact.Low*(1+1e-7))
		require.GreaterOrEqual(t, bounded.High, exact.High*(1-1e-7))
	}
}

func TestCompareSeveralLeavesOutWhatOneSideLacks(t *testing.T) {
	pairs := []Pair{
		{Count{31, 1000}, Count{2, 1000}},
		{Count{5, 400}, Count{}},
		{Count{}, Count{7, 300}},
		{Count{}, Count{}},
	}
	s := CompareSeveral(pairs, 1)
	require.Equal(t, []int{0}, s.Compared)
	require.Equal(t, []int{1, 2}, s.NotCompared)
	require.InDelta(t, 15.5, s.Ratio, 1e-9)

	none := CompareSeveral(pairs[1:], 1)
	require.Empty(t, none.Compared)
	require.True(t, math.IsNaN(none.Ratio))
	require.True(t, math.IsNaN(none.MantelHaenszel.Ratio))
	require.Equal(t, 0.5, none.Greater)
}

// Above 10,000 misses Mantel-Haenszel stands in, and must be close by.
func TestCompareSeveralOfLargeCounts(t *testing.T) {
	small := []Pair{{Count{2500, 1e5}, Count{1500, 1e5}}, {Count{3500, 2e5}, Count{2300, 1e5}}}
	large := []Pair{{Count{2600, 1.04e5}, Count{1560, 1.04e5}}, {Count{3640, 2.08e5}, Count{2392, 1.04e5}}}
	e, m := CompareSeveral(small, 1), CompareSeveral(large, 1)
	require.Equal(t, Exact, e.Method)
	require.Equal(t, LargeCounts, m.Method)
	require.InEpsilon(t, e.Ratio, m.Ratio, 1e-6)
	require.InEpsilon(t, e.Low, e.MantelHaenszel.Low, 5e-3)
	require.InEpsilon(t, e.High, e.MantelHaenszel.High, 5e-3)
	require.Equal(t, m.MantelHaenszel.Low, m.Low)
	require.InEpsilon(t, e.Greater, normalUpper(math.Sqrt(e.MantelHaenszel.Chi2)), 0.05)
	require.Equal(t, normalUpper(math.Sqrt(m.MantelHaenszel.Chi2)), m.Greater)
	require.InDelta(t, 1, m.Greater+m.Less, 1e-12)

	// One side without a miss: no Mantel-Haenszel, but limits all the same.
	zero := CompareSeveral([]Pair{{Count{0, 1e5}, Count{12_000, 1e5}}}, 1)
	require.Zero(t, zero.Ratio)
	require.Less(t, zero.High, 1e-3)
}

// Confounding: the car missed alike before and after, but ran in Drive mostly
// before and in Park mostly after. The crude ratio says cured; like with like
// does not.
func TestCompareSeveralIsNotFooledByTheMix(t *testing.T) {
	before := []Count{{4, 2000}, {240, 8000}}
	after := []Count{{16, 8000}, {60, 2000}}
	crude := Compare(Count{244, 10000}, Count{76, 10000}, 1)
	require.Greater(t, crude.Low, 2.0)
	like := CompareSeveral([]Pair{{before[0], after[0]}, {before[1], after[1]}}, 1)
	require.InDelta(t, 1, like.Ratio, 1e-6)
	require.Less(t, like.Low, 1.0)
	require.Greater(t, like.High, 1.0)
}

// An unequal ratio must be found: the British doctors of the vectors, and here
// Drive worse while Park got better.
func TestUnlikeRatiosAreFound(t *testing.T) {
	s := CompareSeveral([]Pair{{Count{40, 1000}, Count{10, 1000}}, {Count{5, 1000}, Count{30, 1000}}}, 1)
	require.Less(t, s.MantelHaenszel.UnlikeChance, 1e-6)
	require.Equal(t, 1, s.MantelHaenszel.Freedom)
	bursty := CompareSeveral([]Pair{{Count{40, 1000}, Count{10, 1000}}, {Count{5, 1000}, Count{30, 1000}}}, 30)
	require.Greater(t, bursty.MantelHaenszel.UnlikeChance, 0.05)
	one := CompareSeveral([]Pair{{Count{40, 1000}, Count{10, 1000}}}, 1)
	require.True(t, math.IsNaN(one.MantelHaenszel.UnlikeChance))
}

func TestCompareSeveralUnderHostileNumbers(t *testing.T) {
	for _, x := range hostile {
		for _, n := range hostile {
			for _, phi := range []float64{1, 2.5, math.NaN(), math.Inf(1)} {
				s := CompareSeveral([]Pair{{Count{x, n}, Count{n, 100}}, {Count{3, 100}, Count{4, x}}, {Count{2, n}, Count{0, x}}}, phi)
				require.False(t, s.Low > s.High, "x=%v n=%v phi=%v: %+v", x, n, phi, s)
				require.False(t, math.IsNaN(s.Greater+s.Less), "x=%v n=%v phi=%v: %+v", x, n, phi, s)
			}
		}
	}
}
