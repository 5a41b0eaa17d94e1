package rate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// runLength is how many effective misses pass before the CUSUM alarms, the rate
// being known and really rise times it: a Markov chain over 32nds of a miss's
// ln 2, stepped by the product (after Brook and Evans 1972).
func runLength(height, rise float64) float64 {
	const grid = math.Ln2 / 32
	n := int(math.Ceil(height / grid))
	a := mat.NewDense(n, n, nil)
	b := mat.NewVecDense(n, nil)
	for i := range n {
		a.Set(i, i, 1)
		b.SetVec(i, 1)
		for x := range 8 {
			s, alarm := cusum(float64(i)*grid, float64(x), grid, float64(n)*grid)
			if alarm {
				break
			}
			j := int(math.Round(s / grid))
			a.Set(i, j, a.At(i, j)-distuv.Poisson{Lambda: rise * grid}.Prob(float64(x)))
		}
	}
	var steps mat.VecDense
	if err := steps.SolveVec(a, b); err != nil {
		panic(err)
	}
	return steps.AtVec(0) * grid * rise
}

// The table of false alarms, recomputed.
func TestFalseAlarmTable(t *testing.T) {
	for _, h := range []float64{3, 3.5, 4, 5, 5.5, 6, 6.2, 6.5, 7} {
		require.InEpsilon(t, runLength(h, 1), FalseAlarmEvery(h), 0.12, "height %v", h)
	}
	require.Equal(t, FalseAlarmEvery(3), FalseAlarmEvery(math.NaN()))
	require.Equal(t, FalseAlarmEvery(7), FalseAlarmEvery(20))
	require.InDelta(t, 6.2, AlarmHeight(4*480), 0.05) // the worked example of the doc comment
	require.InDelta(t, 5, AlarmHeight(600), 1e-4)
	require.InDelta(t, 3, AlarmHeight(1), 1e-4)
	require.InDelta(t, 7, AlarmHeight(1e9), 1e-4)
}

// With the rate known a doubling is found after so many misses (measured by
// simulation elsewhere, here by the chain).
func TestDoublingIsFoundSoonAtAKnownRate(t *testing.T) {
	for h, misses := range map[float64]float64{3: 12, 4: 17, 5: 22, 5.5: 25, 6: 27, 6.5: 31, 7: 33} {
		require.InEpsilon(t, misses, runLength(h, 2), 0.1, "height %v", h)
	}
}

func TestWorseningLearnsBeforeItJudges(t *testing.T) {
	w := NewWorsening(5)
	for range 29 {
		require.False(t, w.Add(1, 100))
	}
	require.False(t, w.Learned())
	require.False(t, w.Before().Known())
	for range 100 {
		w.Add(1, 100)
	}
	require.True(t, w.Learned())
	require.InDelta(t, 10, w.Before().Rate, 1e-9)
	require.Zero(t, w.Rise())
	require.False(t, w.Add(5, 0), "no firings, no place")

	require.False(t, w.Add(3, 100))
	require.False(t, w.Add(3, 100))
	require.Equal(t, Count{6, 200}, w.Rise())
	alarmed := false
	for range 20 {
		if alarmed = w.Add(4, 100); alarmed {
			break
		}
	}
	require.True(t, alarmed)
	require.InDelta(t, 10, w.Before().Rate, 1e-9, "the rise is no part of what was before")
	rise := w.Rise()
	require.Greater(t, rise.Rate(), 0.03)
	w.Add(0, 100)
	require.Less(t, w.Rise().Firings, rise.Firings, "after an alarm the rise begins anew")
}

// falseAlarms counts the alarms in 200 h of steady running at 800 rpm (4.8
// million firings), and those that the table allows in the time it watched.
func falseAlarms(rng *rand.Rand, f fault, height float64) (alarms, allowed float64) {
	w := NewWorsening(height)
	var watched float64
	for _, x := range f.drive(rng, 48_000) {
		if w.Learned() {
			watched += 100
		}
		if w.Add(x, 100) {
			alarms++
		}
	}
	return alarms, watched * f.rate() / f.dispersion() / FalseAlarmEvery(height)
}

// Steady running, single misses or bursts, alarms no more often than stated.
func TestWorseningSeldomAlarmsForNothing(t *testing.T) {
	simulation(t)
	for _, f := range []fault{
		steady{0.001}, steady{0.005}, badRuns{0.005, 5, 0.5}, badRuns{0.02, 40, 0.5},
		badRuns{0.03, 300, 0.3}, clusters{0.01, 10, 4}, wandering{0.01, 1, 300},
	} {
		for _, h := range []float64{5, 6.2} {
			rng := seeded(70)
			var alarms, allowed float64
			for range many(8) {
				a, b := falseAlarms(rng, f, h)
				alarms += a
				allowed += b
			}
			t.Logf("%T %v, height %v: %v false alarms, %.1f allowed", f, f, h, alarms, allowed)
			require.LessOrEqual(t, alarms, allowed)
		}
	}
}

// A doubling after 100 effective misses is found within 5.5 x height effective
// misses on average, and missed in at most one of twenty drives that end after
// 200 more.
func TestWorseningFindsADoubling(t *testing.T) {
	simulation(t)
	for _, f := range []fault{steady{0.005}, badRuns{0.01, 5, 0.5}, badRuns{0.02, 40, 0.5}, clusters{0.01, 10, 4}} {
		for _, h := range []float64{4, 5, 6.2} {
			rng := seeded(71)
			var found, misses float64
			drives := many(80)
			for range drives {
				blocks := int(f.dispersion() / f.rate())
				w := NewWorsening(h)
				for _, x := range f.drive(rng, blocks) {
					w.Add(x, 100)
				}
				phi := w.phi
				var seen float64
				for _, x := range f.at(2*f.rate()).drive(rng, blocks) {
					seen += x
					if w.Add(x, 100) {
						found++
						misses += seen / phi
						break
					}
				}
			}
			t.Logf("%T %v, height %v: found in %.0f %%, after %.0f effective misses", f, f, h, 100*found/float64(drives), misses/found)
			require.GreaterOrEqual(t, found/float64(drives), 0.95)
			require.LessOrEqual(t, misses/found, 5.5*h)
		}
	}
}

func BenchmarkWorsening(b *testing.B) {
	drive := badRuns{0.02, 5, 0.5}.drive(seeded(72), 10_000)
	w := NewWorsening(5)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		w.Add(drive[i%len(drive)], 100)
		i++
	}
}
