package rate

import "math"

// Comparison is how two rates relate, a against b.
type Comparison struct {
	// Ratio is a's rate over b's with its 95 % limits. Ratio is NaN when
	// neither side has a miss, +Inf when only a has; Low is 0 without misses in
	// a, High is +Inf without misses in b.
	Ratio, Low, High float64

	// Greater is the one-sided mid-p of "a is no more frequent than b": how
	// often chance alone would put at least so large a share of the misses on
	// a's side. Less is the same the other way; they add up to 1. Decide on
	// Greater < 0.05 or Less < 0.05, whichever was asked beforehand.
	Greater, Less float64

	Phi float64 // dispersion used, at least 1
}

// Compare is the exact comparison of two rates: given the total of misses, a's
// are binomial with chance n_a R/(n_a R + n_b) at rate ratio R (Przyborowski
// and Wilenski 1940). Limits are Clopper-Pearson's on that chance; decisions go
// by mid-p, which wastes least at single-digit counts (Hwang and Yang 2001; Gu,
// Ng, Tang and Schucany 2008).
//
// Without firings on both sides nothing can be compared: ratio NaN, limits 0
// and +Inf, and both chances one half.
func Compare(a, b Count, phi float64) Comparison {
	c := Comparison{Ratio: math.NaN(), Low: 0, High: math.Inf(1), Greater: 0.5, Less: 0.5, Phi: atLeastOne(phi)}
	a, b = a.clean(), b.clean()
	if a.Firings == 0 || b.Firings == 0 || a.Misses+b.Misses == 0 {
		return c
	}
	c.Ratio = a.Rate() / b.Rate()
	exposure := b.Firings / a.Firings
	a.Misses, b.Misses = count(a.Misses/c.Phi), count(b.Misses/c.Phi)
	c.Low = odds(betaQuantile(tail, a.Misses, b.Misses+1)) * exposure
	c.High = odds(betaQuantile(1-tail, a.Misses+1, b.Misses)) * exposure
	c.Greater = greater(a, b, 1)
	c.Less = greater(b, a, 1)
	return c
}

// greater is the one-sided mid-p against "a's rate is at most ratio times b's".
func greater(a, b Count, ratio float64) float64 {
	return midTail(a.Misses, a.Misses+b.Misses, share(a.Firings, b.Firings, ratio))
}

// share is the chance that a miss of either side is one of a's.
func share(na, nb, ratio float64) float64 {
	return 1 / (1 + nb/(na*ratio))
}

func odds(p float64) float64 { return p / (1 - p) }
