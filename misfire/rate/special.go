package rate

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

const (
	// tail is what a 95 % interval leaves on either side.
	tail = 0.025
	// normalTail is the standard normal's upper 2.5 % point.
	normalTail = 1.959963984540054
)

// upperTail is P(X >= x) for X binomial with n trials and chance p, for real
// x and n: the incomplete beta I_p(x, n-x+1).
func upperTail(x, n, p float64) float64 {
	switch {
	case x <= leastCounted:
		return 1
	case x >= n+1 || !(p > 0):
		return 0
	case p >= 1:
		return 1
	}
	return mathext.RegIncBeta(x, n-x+1, p)
}

// midTail is the mid-p upper tail P(X > x) + P(X = x)/2 of the same binomial
// (Lancaster 1961).
func midTail(x, n, p float64) float64 {
	return (upperTail(x, n, p) + upperTail(x+1, n, p)) / 2
}

// betaQuantile is the x with I_x(a, b) = p. At a = 0 all mass lies at 0, at
// b = 0 at 1.
//
// Newton steps, held inside a bracket, start from a classical approximation:
// the library's inverse takes five times as long for what a live screen asks,
// and can stop short for very unequal a and b.
func betaQuantile(p, a, b float64) float64 {
	if a <= 0 {
		return 0
	}
	if b <= 0 {
		return 1
	}
	lbeta := mathext.Lbeta(a, b)
	low, high := 0.0, 1.0
	before := math.Inf(1) // the step before: Newton's halve at least, until rounding is all that is left of them
	x := betaGuess(p, a, b, lbeta)
	if !(x > 0 && x < 1) {
		x = a / (a + b)
	}
	for range 200 {
		miss := mathext.RegIncBeta(a, b, x) - p
		if miss > 0 {
			high = x
		} else {
			low = x
		}
		density := math.Exp((a-1)*math.Log(x) + (b-1)*math.Log1p(-x) - lbeta)
		next := x - miss/density
		step := math.Abs(next - x)
		if step <= 1e-13*x || step <= 1e-8*x && step > before/2 {
			return math.Min(math.Max(next, 0), 1)
		}
		before = step
		if !(next > low && next < high) {
			next = low + (high-low)/2
			if low < high/16 { // halving the exponent gets near 0 sooner
				next = math.Sqrt(math.Max(low, high*1e-8) * high)
			}
		}
		x = next
	}
	return x
}

// betaGuess is near the x with I_x(a, b) = p: for a and b above 1 by the
// normal approximation of Abramowitz and Stegun 26.5.22, else by the leading
// term of the density's end that holds the mass.
func betaGuess(p, a, b, lbeta float64) float64 {
	switch {
	case a == 1:
		return -math.Expm1(math.Log1p(-p) / b)
	case b == 1:
		return math.Exp(math.Log(p) / a)
	case a > 1 && b > 1:
		y := -math.Sqrt2 * math.Erfinv(2*p-1)
		lambda := (y*y - 3) / 6
		ra, rb := 1/(2*a-1), 1/(2*b-1)
		h := 2 / (ra + rb)
		w := y*math.Sqrt(h+lambda)/h - (rb-ra)*(lambda+5.0/6-2/(3*h))
		return a / (a + b*math.Exp(2*w))
	case a <= b:
		return math.Exp((math.Log(p*a) + lbeta) / a)
	}
	return -math.Expm1((math.Log1p(-p) + math.Log(b) + lbeta) / b)
}

// chiSquareQuantile is the p quantile of chi-square with real degrees of
// freedom, 0 when there are none. (The library's inverse never returns from
// NaN.)
func chiSquareQuantile(p, freedom float64) float64 {
	if !(freedom > 0) {
		return 0
	}
	return 2 * mathext.GammaIncRegInv(freedom/2, p)
}

// chiSquareTail is the chance that chi-square exceeds x.
func chiSquareTail(x, freedom float64) float64 {
	if freedom <= 0 || x <= 0 {
		return 1
	}
	return mathext.GammaIncRegComp(freedom/2, x/2)
}

// normalUpper is the chance that a standard normal exceeds z.
func normalUpper(z float64) float64 {
	return math.Erfc(z/math.Sqrt2) / 2
}

// mostCounted is more than any engine ever fires, and tells numbers apart to a
// thousandth still; leastCounted is less than any share of a miss.
const (
	mostCounted  = 1e12
	leastCounted = 1e-9
)

// count reads a number of misses or firings: NaN, negatives and next to nothing
// as none, what no engine can reach as the most there can be.
func count(v float64) float64 {
	if !(v >= leastCounted) {
		return 0
	}
	return math.Min(v, mostCounted)
}

// atLeastOne reads a dispersion: NaN and values below 1 as 1, because misses
// more regular than chance are chance themselves, or a controller that smooths.
// No more than a million: then nothing is known anyway.
func atLeastOne(phi float64) float64 {
	if !(phi > 1) {
		return 1
	}
	return math.Min(phi, 1e6)
}

// crossing finds where f, rising, crosses zero: it steps outwards from near
// (first by step, then twice as far each time) until the sign changes and
// closes in by Chandrupatla's method (1997), which never leaves the bracket.
// If f keeps its sign for a thousand and more, the end reached is given back.
func crossing(f func(float64) float64, near, step float64) float64 {
	a, fa := near, f(near)
	if fa == 0 {
		return a
	}
	if fa > 0 {
		step = -step
	}
	b := a + step
	fb := f(b)
	for fb*fa > 0 {
		if math.Abs(step) > 1000 {
			return b
		}
		step *= 2
		a, fa = b, fb
		b = a + step
		fb = f(b)
	}
	return closeIn(f, a, fa, b, fb, 1e-15)
}

// closeIn is Chandrupatla's bracketed root finder: inverse quadratic steps
// where they are safe, halving elsewhere, until the bracket is within precision
// (relative, and absolute below one).
func closeIn(f func(float64) float64, a, fa, b, fb, precision float64) float64 {
	c, fc := a, fa
	t := 0.5
	for range 200 {
		x := a + t*(b-a)
		fx := f(x)
		if (fx > 0) == (fa > 0) {
			c, fc = a, fa
		} else {
			c, fc = b, fb
			b, fb = a, fa
		}
		a, fa = x, fx
		best, fbest := a, fa
		if math.Abs(fb) < math.Abs(fa) {
			best, fbest = b, fb
		}
		width := math.Abs(b - a)
		tolerance := precision * (math.Abs(best)/2 + 1)
		if fbest == 0 || width <= 2*tolerance {
			return best
		}
		t = 0.5
		xi, ph := (a-b)/(c-b), (fa-fb)/(fc-fb)
		if ph*ph < xi && (1-ph)*(1-ph) < 1-xi {
			t = fa/(fb-fa)*fc/(fb-fc) + (c-a)/(b-a)*fa/(fc-fa)*fb/(fc-fb)
		}
		edge := tolerance / width
		t = math.Min(1-edge, math.Max(edge, t))
	}
	return a
}
