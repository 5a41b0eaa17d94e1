package rate

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Sureness is how far limits may be trusted to know the bursts of a fault.
type Sureness uint8

// Sureness of limits.
const (
	Unjudged     Sureness = iota // too little ran to exclude bursts of minutes: widened in case there are
	JudgedSteady                 // no burst of any length up to minutes
	JudgedBursts                 // bursts were seen often enough to know them
)

// What has to be seen before bursts are judged: sixteen minutes at 750 rpm, several times the length of the slowest
// burst to be excluded. By simulation (see the tests) 4,000 firings are too few.
const (
	firingsToJudge = 6000
	windowsToJudge = 10
	missesToJudge  = 20
)

// ladderLeast is the fewest blocks of a length that limits are drawn from, evidenceLeast that of evidence.
const (
	ladderLeast   = 8
	evidenceLeast = 6
	gearLeast     = 4
)

// LimitsLeast is the fewest blocks of a length that [Limited] wants a [Measure] of.
const LimitsLeast = ladderLeast

// Limited is the rate of misses among firings with 95 % limits that hold whatever the misses come in: bursts, clusters
// with heavy tails, spells. The variance is the largest that any length of block shows, carried on to the whole of the
// running where it still grows; the upper limit makes room for one more burst, three times the largest seen. It is the
// gamma limit of a weighted Poisson sum (Fay and Feuer 1997), its lower one that of a zero-truncated Poisson: a rate is
// printed because something was seen.
//
// What is JudgedSteady or JudgedBursts held the truth in 97 to 99 % of simulated drives of ten families of bursts, what
// is Unjudged in 93 to 100 %; see the laboratory of package misfire.
func Limited(b Bursts) (Estimate, Sureness) {
	e := estimate(b.Misses, b.Firings, 1)
	if e.Firings == 0 {
		return e, Unjudged
	}
	phi, spread, sure := b.judge()
	e.Phi = phi
	e.Low, e.High = burstLimits(e.Misses, phi*e.Misses, spread)
	e.Low = math.Min(perThousand, perThousand*e.Low/e.Firings)
	e.High = math.Min(perThousand, perThousand*e.High/e.Firings)
	return e, sure
}

// judge gives the dispersion, the misses of one more burst that must be reckoned with, and how sure that is.
func (b *Bursts) judge() (phi, oneMore float64, sure Sureness) {
	const more = 3 // times the largest burst seen
	s := b.Misses
	switch {
	case s == 0:
		return 1, 1, Unjudged // none seen has the exact limit of none
	case b.steady():
		return 1.15, 1, JudgedSteady
	}
	phi = math.Min(1+b.excess(), 4*s)
	if b.bursty() && s/phi >= 3 && b.Largest <= s/5 {
		return phi, more * b.Largest, JudgedBursts
	}
	if b.Windows < ladderLeast {
		return math.Max(4, s), more * s, Unjudged
	}
	return math.Max(phi, 4), more * math.Max(b.Largest, 2), Unjudged
}

// enough tells whether what ran could have shown bursts of minutes.
func (b *Bursts) enough() bool { return b.Firings >= firingsToJudge && b.Windows >= windowsToJudge }

// steady tells that no length of block shows more than chance.
func (b *Bursts) steady() bool {
	if b.Misses < missesToJudge || !b.enough() || len(b.Lengths) == 0 {
		return false
	}
	for _, l := range b.Lengths {
		allowed := l.chance()
		if l.Blocks > 80 {
			allowed = 0.3
		}
		if l.Phi > 1+allowed {
			return false
		}
	}
	return true
}

// bursty tells that some length of block shows more than chance, beyond doubt.
func (b *Bursts) bursty() bool {
	if !b.enough() {
		return false
	}
	for _, l := range b.Lengths {
		if l.Phi > 1+3*math.Sqrt(2/math.Max(1, l.Blocks-1)+1/b.Misses) {
			return true
		}
	}
	return false
}

// excess is the dispersion above 1, each length widened for how few blocks it was seen over.
func (b *Bursts) excess() float64 {
	most := 0.0
	for _, l := range b.Lengths {
		f := student(l.Freedom)
		most = math.Max(most, (l.Phi-1)*f*f)
	}
	if n := len(b.Lengths); n > 0 {
		f := student(b.Lengths[n-1].Blocks - 1)
		most = math.Max(most, b.Growth*f*f)
	}
	return most
}

// student is Student's 97.5 % point over that of the normal distribution.
func student(freedom float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: math.Max(freedom, 1)}.Quantile(1-tail) / normalTail
}

// burstLimits are the limits of misses with a variance, where one more burst of so many must be reckoned with.
func burstLimits(misses, variance, oneMore float64) (low, high float64) {
	if misses > 0 {
		phi := variance / misses
		low = phi * truncatedLow(misses/phi)
	}
	mean, v := misses+oneMore, variance+oneMore*oneMore
	high = v / (2 * mean) * chiSquareQuantile(1-tail, 2*mean*mean/v)
	return low, high
}

// truncatedLow is the least mean m at which a Poisson count that is not 0 comes to k or more in 2.5 % of cases; the gamma
// form serves a k that is no whole number. 0 for k up to 1.
func truncatedLow(k float64) float64 {
	const untruncated = 60 // from here on the chance of 0 is nothing
	if k <= 1 {
		return 0
	}
	usual := chiSquareQuantile(tail, 2*k) / 2
	if k > untruncated {
		return usual
	}
	low, high := math.Log(1e-12), math.Log(usual*1.5+1)
	for high-low > 1e-12 {
		mid := low + (high-low)/2
		m := math.Exp(mid)
		if mathext.GammaIncReg(k, m) > -tail*math.Expm1(-m) {
			high = mid
		} else {
			low = mid
		}
		if mid == low && mid == high {
			break
		}
	}
	return math.Exp(low)
}
