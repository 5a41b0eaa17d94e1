package rate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// slowly is plain EM run until nothing moves: slow, but with nothing to get
// wrong. It is the check of the fast way.
func slowly(x []float64, windows [][]float64) []float64 {
	k := len(windows[0])
	r := make([]float64, k)
	all := make([]float64, k)
	for c := range r {
		r[c] = 0.01
		for _, row := range windows {
			all[c] += row[c]
		}
	}
	for range 20_000 {
		pull := make([]float64, k)
		for w, row := range windows {
			var mean float64
			for c, n := range row {
				mean += n * r[c]
			}
			for c, n := range row {
				if mean > 0 {
					pull[c] += x[w] * n / mean
				}
			}
		}
		for c := range r {
			r[c] *= pull[c] / all[c]
		}
	}
	return r
}

func randomWindows(rng *rand.Rand, count int, rates []float64) (x []float64, windows [][]float64) {
	for range count {
		row := make([]float64, len(rates))
		var mean float64
		for range 1 + rng.IntN(3) {
			c := rng.IntN(len(rates))
			n := 20 + 300*rng.Float64()
			row[c] += n
			mean += n * rates[c]
		}
		x = append(x, poissonDraw(rng, mean))
		windows = append(windows, row)
	}
	return x, windows
}

func gathered(x []float64, windows [][]float64) *Lumps {
	var l Lumps
	for w, row := range windows {
		var parts []Part
		for c, n := range row {
			parts = append(parts, Part{c, n})
		}
		l.Add(x[w], parts...)
	}
	return &l
}

func TestLumpsReachTheMaximumThatSlowEMReaches(t *testing.T) {
	rng := seeded(30)
	for range 20 {
		rates := make([]float64, 2+rng.IntN(6))
		for c := range rates {
			rates[c] = 0.05 * math.Pow(rng.Float64(), 3)
		}
		x, windows := randomWindows(rng, 60, rates)
		fit := gathered(x, windows).Fit(1)
		want := slowly(x, windows)
		for c, a := range fit {
			if len(a.With) > 0 || !a.Rate.Known() {
				continue
			}
			require.InDeltaf(t, 1000*want[c], a.Rate.Rate, 2e-3, "condition %d of %v", c, want)
			require.LessOrEqual(t, a.Rate.Low, a.Rate.Rate+1e-9)
			require.GreaterOrEqual(t, a.Rate.High, a.Rate.Rate-1e-9)
		}
		var misses, shared float64
		for w := range x {
			misses += x[w]
		}
		for _, a := range fit {
			shared += a.Rate.Misses
		}
		require.InEpsilon(t, misses+1, shared+1, 1e-9, "all misses are shared out")
	}
}

// Unmixed windows share nothing: the plain rates, and limits close to those of
// a Poisson likelihood in closed form (x = 0: half of 3.8415 misses).
func TestLumpsWithoutMixing(t *testing.T) {
	var l Lumps
	l.Add(3, Part{0, 400})
	l.Add(1, Part{0, 600})
	l.Add(0, Part{2, 500})
	fit := l.Fit(1)
	require.Len(t, fit, 3)
	require.InDelta(t, 4, fit[0].Rate.Rate, 1e-9)
	require.Zero(t, fit[0].Mixed)
	require.False(t, fit[1].Rate.Known())
	require.Zero(t, fit[2].Rate.Rate)
	require.Zero(t, fit[2].Rate.Low)
	require.InDelta(t, 1000*normalTail*normalTail/2/500, fit[2].Rate.High, 1e-6)

	wide := l.Fit(4)
	require.Equal(t, 4.0, wide[0].Rate.Phi)
	require.Less(t, wide[0].Rate.Low, fit[0].Rate.Low)
	require.InDelta(t, 4*fit[2].Rate.High, wide[2].Rate.High, 1e-6)
}

// Windows of an identical mix are kept as one and change no answer.
func TestLumpsMergeAlikeWindows(t *testing.T) {
	var once, split Lumps
	once.Add(9, Part{0, 300}, Part{1, 600})
	split.Add(4, Part{0, 100}, Part{1, 200})
	split.Add(5, Part{1, 400}, Part{0, 150}, Part{0, 50})
	for _, l := range []*Lumps{&once, &split} {
		l.Add(2, Part{0, 500})
		l.Add(8, Part{1, 400})
	}
	require.Len(t, split.mixed, 1)
	a, b := once.Fit(1), split.Fit(1)
	for c := range a {
		require.InEpsilon(t, a[c].Rate.Rate, b[c].Rate.Rate, 1e-9)
		require.InEpsilon(t, a[c].Rate.High, b[c].Rate.High, 1e-6)
		require.Equal(t, a[c].Mixed, b[c].Mixed)
	}
	require.InDelta(t, 300.0/800, a[0].Mixed, 1e-12)
}

// What always ran together in one mix cannot be told apart, is named, and gets
// the rate of both together; what ran apart is unharmed. Two such pairs are two
// pairs, not one four.
func TestLumpsNameWhatCannotBeToldApart(t *testing.T) {
	var l Lumps
	l.Add(4, Part{0, 300}, Part{1, 100})
	l.Add(9, Part{0, 600}, Part{1, 200})
	l.Add(1, Part{2, 100}, Part{3, 100})
	l.Add(1, Part{2, 200}, Part{3, 200}, Part{4, 100})
	l.Add(6, Part{4, 300})
	fit := l.Fit(1)
	require.Equal(t, []int{1}, fit[0].With)
	require.Equal(t, []int{0}, fit[1].With)
	require.Equal(t, []int{3}, fit[2].With)
	require.Equal(t, []int{2}, fit[3].With)
	require.Empty(t, fit[4].With)
	require.InDelta(t, 1000*13.0/1200, fit[0].Rate.Rate, 1e-6)
	require.Equal(t, fit[0].Rate.Rate, fit[1].Rate.Rate)

	// Nearly the same mix is no better: a difference of a tenth of a percent.
	var near Lumps
	near.Add(4, Part{0, 300}, Part{1, 100})
	near.Add(9, Part{0, 600.1}, Part{1, 199.9})
	require.Equal(t, []int{1}, near.Fit(1)[0].With)
	near.Add(9, Part{0, 100})
	require.Empty(t, near.Fit(1)[0].With, "one unmixed window tells them apart")
}

func TestLumpsEmptyAndImpossible(t *testing.T) {
	var l Lumps
	require.Empty(t, l.Fit(1))
	l.Add(5)
	l.Add(5, Part{0, 0}, Part{-1, 100}, Part{1, math.NaN()})
	require.Empty(t, l.Fit(1))
	for _, x := range hostile {
		for _, n := range hostile {
			var l Lumps
			l.Add(x, Part{0, n}, Part{1, 100})
			l.Add(3, Part{0, 50})
			l.Add(x, Part{2, n})
			l.Add(0, Part{1, n}, Part{2, x})
			for _, a := range l.Fit(n) {
				require.False(t, a.Rate.Low > a.Rate.High, "x=%v n=%v %+v", x, n, a)
				require.Equal(t, a.Rate.Known(), !math.IsNaN(a.Rate.High), "x=%v n=%v %+v", x, n, a)
			}
		}
	}
}

// A fit begun where the last ended gives the same as one begun afresh.
func TestLumpsWarmStart(t *testing.T) {
	rng := seeded(31)
	x, windows := randomWindows(rng, 80, []float64{0.002, 0.03, 0, 0.01})
	warm := gathered(x[:40], windows[:40])
	warm.Fit(1)
	for w := 40; w < 80; w++ {
		var parts []Part
		for c, n := range windows[w] {
			parts = append(parts, Part{c, n})
		}
		warm.Add(x[w], parts...)
	}
	a, b := warm.Fit(1), gathered(x, windows).Fit(1)
	for c := range a {
		require.InDelta(t, b[c].Rate.Rate, a[c].Rate.Rate, 1e-6)
		require.InDelta(t, b[c].Rate.High, a[c].Rate.High, 1e-5)
	}
}

// The reason for all this: a true 2 and 30 per 1,000, refreshed each 100 firings
// while the gear changes at random. Maximum likelihood finds both; sharing by
// firings makes a fifteenfold difference a twofold one.
func TestSharingByFiringsHidesWhatLikelihoodFinds(t *testing.T) {
	rng := seeded(32)
	var likely, naive [2]float64
	var held float64
	drives := many(500)
	for range drives {
		var l Lumps
		var x []float64
		var windows [][]float64
		for range 40 {
			drive := rng.Float64()
			row := []float64{200 * (1 - drive), 200 * drive}
			misses := poissonDraw(rng, 0.002*row[0]+0.030*row[1])
			l.Add(misses, Part{0, row[0]}, Part{1, row[1]})
			x = append(x, misses)
			windows = append(windows, row)
		}
		fit := l.Fit(1)
		for c, truth := range []float64{2, 30} {
			likely[c] += fit[c].Rate.Rate / float64(drives)
			naive[c] += 1000 * byFirings(x, windows, c) / float64(drives)
			if fit[c].Rate.Low <= truth && truth <= fit[c].Rate.High {
				held += 0.5 / float64(drives)
			}
		}
	}
	t.Logf("true 2 and 30: likelihood %.2f and %.2f, by firings %.1f and %.1f; limits held %.1f %%",
		likely[0], likely[1], naive[0], naive[1], 100*held)
	require.InDelta(t, 2, likely[0], 0.25)
	require.InDelta(t, 30, likely[1], 0.6)
	require.Less(t, naive[1]/naive[0], 3.0)
	require.Greater(t, naive[0], 9.0)
	require.GreaterOrEqual(t, held, 0.93)
}

// longDrive is a long test drive: every condition seen alone, and many windows
// over a change of gear or load. Of five conditions, quiet never miss.
func longDrive(conditions, windows, quiet int) *Lumps {
	rng := seeded(33)
	rate := func(c int) float64 {
		if c%5 < quiet {
			return 0
		}
		return 0.01
	}
	var l Lumps
	for c := range conditions {
		n := 300 + 2000*rng.Float64()
		l.Add(poissonDraw(rng, rate(c)*n), Part{c, n})
	}
	for range windows {
		a := rng.IntN(conditions)
		b := (a + 1 + rng.IntN(3)) % conditions
		n, m := 10+190*rng.Float64(), 10+190*rng.Float64()
		l.Add(poissonDraw(rng, rate(a)*n+rate(b)*m), Part{a, n}, Part{b, m})
	}
	return &l
}

// At the maximum no share can be moved to advantage: the likelihood is level in
// every share above zero and falls from zero (Karush, Kuhn and Tucker). Many
// quiet conditions put many shares at that edge.
func TestLumpsOfManyConditionsReachTheMaximum(t *testing.T) {
	for quiet := range 5 {
		l := longDrive(30, 300, quiet)
		groups := l.groups(firingsOf(l))
		require.Len(t, groups, 30)
		p := l.problem(groups)
		best := l.start(groups, p)
		p.maximise(best, -1, 1e-15)
		p.evaluate(best)
		zeros := 0
		for g, v := range best {
			if v == 0 {
				zeros++
				require.LessOrEqual(t, p.slope[g], 1e-6, "quiet %d, condition %d", quiet, g)
				continue
			}
			require.InDelta(t, 0, p.slope[g], 1e-6, "quiet %d, condition %d at %v", quiet, g, v)
		}
		require.GreaterOrEqual(t, zeros, 4*quiet)
	}
}

func firingsOf(l *Lumps) []float64 {
	firings, _ := l.exposure()
	return firings
}

func BenchmarkLumpsFit(b *testing.B) {
	for _, d := range []struct{ conditions, windows, quiet int }{{20, 100, 0}, {20, 300, 0}, {20, 300, 4}, {30, 300, 3}, {20, 1000, 0}} {
		b.Run(fmt.Sprintf("%d conditions, %d mixed windows, %d of 5 quiet", d.conditions, d.windows, d.quiet), func(b *testing.B) {
			l := longDrive(d.conditions, d.windows, d.quiet)
			b.ReportAllocs()
			for b.Loop() {
				l.Fit(2)
			}
		})
	}
}
