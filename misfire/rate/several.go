package rate

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// mostExact is the number of misses above which several conditions are compared
// by Mantel-Haenszel, whose limits are then within half a percent of the exact
// ones, and cost nothing.
const mostExact = 10_000

// Pair is one condition seen on both sides of a comparison.
type Pair struct{ A, B Count }

// Method says how a [Several] was reckoned.
type Method int

const (
	// Exact: the exact conditional distribution (whole counts, phi 1).
	Exact Method = iota
	// Bounded: the binomial that bounds it, on effective counts (phi above 1).
	Bounded
	// LargeCounts: Mantel-Haenszel (over 10,000 misses).
	LargeCounts
)

// Several is one comparison over several conditions, like with like.
type Several struct {
	Comparison

	// Compared lists the conditions (positions in the input) that both sides
	// have run in; NotCompared those that only one side has. The latter weigh
	// nothing and must be named to the user.
	Compared, NotCompared []int

	// MantelHaenszel is the cross-check.
	MantelHaenszel MantelHaenszel

	Method Method
}

// MantelHaenszel is the common rate ratio over conditions for counts and
// exposures (Greenland and Robins 1985), with phi in its variance. Its limits,
// and the ratio itself, are NaN when one side has no miss.
type MantelHaenszel struct {
	Ratio, Low, High float64
	VarLog           float64 // variance of the ratio's logarithm
	Chi2             float64 // test of ratio 1, one degree of freedom

	// Unlike is the chi-square against one ratio in all conditions, on Freedom
	// degrees of freedom, and UnlikeChance how often chance alone would let the
	// conditions differ so much (Rothman and Greenland, from memory). Under 5 %
	// one ratio must not be shown: show each condition's. Conditions with a
	// zero are skipped; with fewer than two left UnlikeChance is NaN.
	Unlike       float64
	Freedom      int
	UnlikeChance float64
}

// CompareSeveral compares a with b over several conditions at once.
//
// Given each condition's total of misses, a's sum is a sum of independent
// binomials with chances n_a R/(n_a R + n_b): limits are where its exact tails
// are 2.5 %, decisions go by mid-p, and the ratio is the most likely one
// (Breslow and Day 1987, chapter 3, from memory). It is [Compare] when there is
// one condition, and works with zeros.
//
// Effective counts (phi above 1) are not whole, and a sum of binomials of
// fractional size does not exist. They are judged by one binomial with the
// mean chance over all conditions, which has the wider tails (Hoeffding 1956)
// and is [Compare] again when there is one condition or the firings on both
// sides are in one proportion.
func CompareSeveral(pairs []Pair, phi float64) Several {
	s := Several{Comparison: Comparison{
		Ratio: math.NaN(), Low: 0, High: math.Inf(1), Greater: 0.5, Less: 0.5, Phi: atLeastOne(phi),
	}}
	var like []Pair
	for i, p := range pairs {
		p = Pair{p.A.clean(), p.B.clean()}
		switch {
		case p.A.Firings > 0 && p.B.Firings > 0:
			s.Compared = append(s.Compared, i)
			like = append(like, p)
		case p.A.Firings > 0 || p.B.Firings > 0:
			s.NotCompared = append(s.NotCompared, i)
		}
	}
	s.MantelHaenszel = mantelHaenszel(like, s.Phi)
	a, b := sides(like)
	if a.Misses+b.Misses == 0 {
		return s
	}
	s.Ratio = likeliestRatio(like)
	switch {
	case a.Misses+b.Misses > mostExact && a.Misses > 0 && b.Misses > 0:
		s.Method = LargeCounts
		s.fromMantelHaenszel(a, like)
	case s.Phi == 1 && whole(like) && a.Misses+b.Misses <= mostExact:
		s.Method = Exact
		s.fromConvolution(like)
	default:
		s.Method = Bounded
		s.fromMeanChance(a, b, like)
	}
	return s
}

func (s *Several) fromMantelHaenszel(a Count, like []Pair) {
	s.Low, s.High = s.MantelHaenszel.Low, s.MantelHaenszel.High
	z := math.Copysign(math.Sqrt(s.MantelHaenszel.Chi2), a.Misses-expectedOfA(like, 1))
	s.Greater, s.Less = normalUpper(z), normalUpper(-z)
}

func (s *Several) fromConvolution(like []Pair) {
	a, b := sides(like)
	even := convolve(like, 1)
	at := int(a.Misses)
	s.Greater = even.midTail(at, 1)
	s.Less = 1 - s.Greater
	if s.Less < 1e-3 { // no digits lost to the difference from 1
		s.Less = even.midLowerTail(at, 1)
	}
	near := nearRatio(like)
	d := convolve(like, near)
	if a.Misses > 0 {
		s.Low = solveRatio(near, func(r float64) float64 { return d.tail(at, r) - tail })
	}
	if b.Misses > 0 {
		s.High = solveRatio(near, func(r float64) float64 { return tail - d.lowerTail(at, r) })
	}
}

func (s *Several) fromMeanChance(a, b Count, like []Pair) {
	x, y := a.Misses/s.Phi, b.Misses/s.Phi
	mean := func(r float64) float64 { return expectedOfA(like, r) / (a.Misses + b.Misses) }
	s.Greater = midTail(x, x+y, mean(1))
	s.Less = midTail(y, x+y, 1-mean(1))
	near := nearRatio(like)
	if x > 0 {
		low := betaQuantile(tail, x, y+1)
		s.Low = solveRatio(near, func(r float64) float64 { return mean(r) - low })
	}
	if y > 0 {
		high := betaQuantile(1-tail, x+1, y)
		s.High = solveRatio(near, func(r float64) float64 { return mean(r) - high })
	}
}

// sides adds each side up over the conditions.
func sides(like []Pair) (a, b Count) {
	for _, p := range like {
		a, b = a.plus(p.A), b.plus(p.B)
	}
	return a, b
}

// whole tells that all misses are whole numbers.
func whole(like []Pair) bool {
	for _, p := range like {
		if p.A.Misses != math.Trunc(p.A.Misses) || p.B.Misses != math.Trunc(p.B.Misses) {
			return false
		}
	}
	return true
}

// expectedOfA is how many of all misses would be a's at that ratio.
func expectedOfA(like []Pair, ratio float64) float64 {
	var sum float64
	for _, p := range like {
		sum += (p.A.Misses + p.B.Misses) * share(p.A.Firings, p.B.Firings, ratio)
	}
	return sum
}

// likeliestRatio makes the seen split of the misses the expected one.
func likeliestRatio(like []Pair) float64 {
	a, b := sides(like)
	switch {
	case a.Misses == 0:
		return 0
	case b.Misses == 0:
		return math.Inf(1)
	}
	return solveRatio(nearRatio(like), func(r float64) float64 { return expectedOfA(like, r) - a.Misses })
}

// nearRatio is a finite ratio near the truth to start from: Mantel-Haenszel
// with half a miss added on each side.
func nearRatio(like []Pair) float64 {
	up, down := 0.0, 0.0
	half := 0.5 / float64(len(like))
	for _, p := range like {
		t := p.A.Firings + p.B.Firings
		up += (p.A.Misses + half) * p.B.Firings / t
		down += (p.B.Misses + half) * p.A.Firings / t
	}
	return up / down
}

// solveRatio finds where f, rising in the ratio, crosses zero.
func solveRatio(near float64, f func(ratio float64) float64) float64 {
	g := func(l float64) float64 { return f(math.Exp(l)) }
	return math.Exp(crossing(g, math.Log(near), 1))
}

func mantelHaenszel(like []Pair, phi float64) MantelHaenszel {
	var up, down, excess, spread float64
	for _, p := range like {
		t := p.A.Firings + p.B.Firings
		all := p.A.Misses + p.B.Misses
		up += p.A.Misses * p.B.Firings / t
		down += p.B.Misses * p.A.Firings / t
		excess += p.A.Misses - all*p.A.Firings/t
		spread += all * (p.A.Firings / t) * (p.B.Firings / t)
	}
	nan := math.NaN()
	m := MantelHaenszel{Ratio: nan, Low: nan, High: nan, VarLog: nan, Chi2: nan, Unlike: nan, UnlikeChance: nan}
	if spread > 0 {
		m.Chi2 = excess * excess / spread / phi
	}
	if up == 0 || down == 0 {
		return m
	}
	m.Ratio = up / down
	m.VarLog = phi * spread / (up * down)
	reach := math.Exp(normalTail * math.Sqrt(m.VarLog))
	m.Low, m.High = m.Ratio/reach, m.Ratio*reach
	m.addUnlike(like, phi)
	return m
}

func (m *MantelHaenszel) addUnlike(like []Pair, phi float64) {
	var sum float64
	used := 0
	for _, p := range like {
		if p.A.Misses == 0 || p.B.Misses == 0 {
			continue
		}
		off := math.Log(p.A.Rate() / p.B.Rate() / m.Ratio)
		sum += off * off / (1/p.A.Misses + 1/p.B.Misses) / phi
		used++
	}
	if used < 2 {
		return
	}
	m.Unlike, m.Freedom = sum, used-1
	m.UnlikeChance = chiSquareTail(sum, float64(used-1))
}

// split is the distribution of a's misses among all at one rate ratio. At
// another ratio every probability only gains a power of the quotient, so one
// convolution serves all ratios near its own.
type split struct {
	ratio float64
	logs  []float64 // logarithm of P(a has s misses)
}

func convolve(like []Pair, ratio float64) split {
	probs := []float64{1}
	for _, p := range like {
		t := int(p.A.Misses + p.B.Misses)
		if t == 0 {
			continue
		}
		one := distuv.Binomial{N: float64(t), P: share(p.A.Firings, p.B.Firings, ratio)}
		next := make([]float64, len(probs)+t)
		for x := range t + 1 {
			px := one.Prob(float64(x))
			if px == 0 {
				continue
			}
			for s, ps := range probs {
				next[s+x] += ps * px
			}
		}
		probs = next
	}
	for s, p := range probs {
		probs[s] = math.Log(p)
	}
	return split{ratio, probs}
}

// sums adds the probabilities below, at and above s, at any ratio, all to one
// unknown scale.
func (d split) sums(s int, ratio float64) (below, at, above float64) {
	tilt := math.Log(ratio / d.ratio)
	most := math.Inf(-1)
	for k, l := range d.logs {
		most = math.Max(most, l+float64(k)*tilt)
	}
	for k, l := range d.logs {
		p := math.Exp(l + float64(k)*tilt - most)
		switch {
		case k < s:
			below += p
		case k == s:
			at = p
		default:
			above += p
		}
	}
	return below, at, above
}

// tail is P(S >= s), lowerTail P(S <= s), the mid tails count s by half.
func (d split) tail(s int, ratio float64) float64 {
	below, at, above := d.sums(s, ratio)
	return (at + above) / (below + at + above)
}

func (d split) lowerTail(s int, ratio float64) float64 {
	below, at, above := d.sums(s, ratio)
	return (below + at) / (below + at + above)
}

func (d split) midTail(s int, ratio float64) float64 {
	below, at, above := d.sums(s, ratio)
	return (at/2 + above) / (below + at + above)
}

func (d split) midLowerTail(s int, ratio float64) float64 {
	below, at, above := d.sums(s, ratio)
	return (below + at/2) / (below + at + above)
}
