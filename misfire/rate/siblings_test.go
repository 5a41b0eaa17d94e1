package rate

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// "cylinder 3: 31 of the 37 misses; by chance less than once in a million".
func TestOddCylinderIsNamed(t *testing.T) {
	s := CompareSiblings([]Count{{2, 1000}, {1, 1000}, {31, 1000}, {3, 1000}}, 1, Ceiling)
	require.True(t, s.Cylinders[2].Odd)
	require.InDelta(t, 31.0/37, s.Cylinders[2].Share, 1e-12)
	require.Less(t, s.Cylinders[2].Adjusted, 1e-6)
	for _, i := range []int{0, 1, 3} {
		require.False(t, s.Cylinders[i].Odd)
	}
	require.False(t, s.Random)
	require.InDelta(t, 37.0/4, s.Total.Rate, 1e-12)
}

func TestRandomMissesNameNobody(t *testing.T) {
	s := CompareSiblings([]Count{{12, 1000}, {15, 1000}, {11, 1000}, {13, 1000}}, 1, Ceiling)
	require.True(t, s.Random)
	for _, c := range s.Cylinders {
		require.False(t, c.Odd)
		require.True(t, c.Failing, "the ceiling still speaks")
	}
	quiet := CompareSiblings([]Count{{1, 10000}, {0, 10000}}, 1, Ceiling)
	require.False(t, quiet.Random)
	// A share far out of line, but at a rate that passes for healthy.
	healthy := CompareSiblings([]Count{{30, 100_000}, {0, 100_000}, {0, 100_000}, {0, 100_000}}, 1, Ceiling)
	require.Less(t, healthy.Cylinders[0].Adjusted, 1e-6)
	require.False(t, healthy.Cylinders[0].Odd)
}

func TestSiblingsWithoutMissesOrFirings(t *testing.T) {
	s := CompareSiblings(nil, 1, Ceiling)
	require.Empty(t, s.Cylinders)
	require.False(t, s.Random)
	s = CompareSiblings([]Count{{}, {}}, 1, Ceiling)
	require.Equal(t, 1.0, s.Cylinders[0].Adjusted)
	require.True(t, math.IsNaN(s.Cylinders[0].Share))
}

// Four cylinders equally bad, all bursty: an innocent is named in at most 1.5 %
// of drives with phi pooled over them, and in far more without.
func TestInnocentBurstyCylinderIsNotNamed(t *testing.T) {
	for _, f := range []fault{steady{0.01}, badRuns{0.01, 5, 0.5}, badRuns{0.01, 40, 0.5}, clusters{0.01, 10, 4}} {
		rng := seeded(50)
		var named, without float64
		drives := many(600)
		for range drives {
			var cylinders []Count
			var bursts []Burst
			for range 4 {
				d, phi := measured(f.drive(rng, 200))
				cylinders = append(cylinders, d.Total())
				bursts = append(bursts, Burst{phi, d.Total().Misses})
			}
			named += anyOdd(CompareSiblings(cylinders, PooledPhi(bursts), Ceiling))
			without += anyOdd(CompareSiblings(cylinders, 1, Ceiling))
		}
		t.Logf("%T %v: innocent named in %.2f %%, without phi %.1f %%", f, f, 100*named/float64(drives), 100*without/float64(drives))
		require.LessOrEqual(t, named/float64(drives), 0.015)
		if f.dispersion() > 5 {
			require.Greater(t, without/float64(drives), 0.2)
		}
	}
}

func anyOdd(s Siblings) float64 {
	for _, c := range s.Cylinders {
		if c.Odd {
			return 1
		}
	}
	return 0
}

// One bursty cylinder that misses ten times as often as its siblings is found.
func TestGuiltyBurstyCylinderIsNamed(t *testing.T) {
	rng := seeded(51)
	var found float64
	const drives = 200
	for range drives {
		var cylinders []Count
		var bursts []Burst
		for i := range 4 {
			r := 0.003
			if i == 1 {
				r = 0.03
			}
			d, phi := measured(badRuns{r, 5, 0.5}.drive(rng, 240))
			cylinders = append(cylinders, d.Total())
			bursts = append(bursts, Burst{phi, d.Total().Misses})
		}
		s := CompareSiblings(cylinders, PooledPhi(bursts), Ceiling)
		if s.Cylinders[1].Odd && !s.Cylinders[0].Odd && !s.Cylinders[2].Odd && !s.Cylinders[3].Odd {
			found++
		}
	}
	require.Greater(t, found/drives, 0.95)
}

func TestPooledPhi(t *testing.T) {
	require.Equal(t, 1.0, PooledPhi(nil))
	require.Equal(t, 1.0, PooledPhi([]Burst{{9, 0}}))
	require.InDelta(t, (10*30+1*10)/40.0, PooledPhi([]Burst{{10, 30}, {0.5, 10}}), 1e-12)
}
