package rate

import (
	"math"
	"slices"
)

// Pauses is how the misses of one cylinder in one condition fall into bursts, from the pauses between them.
type Pauses struct {
	Misses, Firings float64
	Bursts          float64 // how many bursts there were: each is one piece of evidence
	Mean            float64 // misses of a burst on average, at least 1
	Longest         float64 // pause, in firings
}

// PausesOf counts bursts by the intervals estimator of the extremal index (Ferro and Segers 2003), with the term for
// small samples, so that one burst gives 1. pauses are the firings between successive misses, the running closed to a
// ring, so that they sum to all firings; those of misses that came in one window lie evenly over it and are told as so
// many of the same length. phi is the plain dispersion of the running, [Dispersion] unwidened: bursts that overlap in
// time show there alone.
func PausesOf(pauses []Pause, phi float64) Pauses {
	var p Pauses
	squares := 0.0
	for _, t := range pauses {
		p.Misses += t.Times
		p.Firings += t.Times * t.Firings
		squares += t.Times * t.Firings * t.Firings
		p.Longest = math.Max(p.Longest, t.Firings)
	}
	if p.Misses == 0 || p.Firings == 0 {
		return Pauses{Firings: p.Firings, Longest: p.Firings, Mean: 1}
	}
	k1 := math.Min(p.Misses, 2*p.Firings*p.Firings/squares-1)
	p.Bursts = math.Max(1, k1)
	if k1 < p.Misses { // regular pauses would count double
		long := 0.0
		for _, t := range pauses {
			if t.Firings > p.Firings/(10*p.Bursts) {
				long += t.Times
			}
		}
		p.Bursts = math.Max(1, math.Min(p.Bursts, long))
	}
	p.Mean = math.Max(math.Max(1, p.Misses/p.Bursts), (1+phi)/2)
	return p
}

// Pause is so many pauses of so many firings each.
type Pause struct{ Firings, Times float64 }

// PauseList gathers the pauses of windows in the order of running; the zero list is ready.
type PauseList struct {
	pauses []Pause
	lead   float64 // firings before the first miss
	open   float64 // firings since the last
	any    bool
}

// Add takes the next window.
func (l *PauseList) Add(misses, firings float64) {
	if misses <= 0 {
		l.open += math.Max(0, firings)
		return
	}
	each := firings / misses // misses of one window are spread evenly over it
	first := l.open + each/2
	if l.any {
		l.pauses = append(l.pauses, Pause{first, 1})
	} else {
		l.lead, l.any = first, true
	}
	if misses > 1 {
		l.pauses = append(l.pauses, Pause{each, misses - 1})
	}
	l.open = each / 2
}

// Closed is the pauses with the running closed to a ring.
func (l *PauseList) Closed() []Pause {
	if !l.any {
		return nil
	}
	return append(slices.Clone(l.pauses), Pause{l.lead + l.open, 1})
}

// Least is the least rate that the running before still allows to be the fault's, in misses per firing: from the lower
// limit of how many bursts there were, a tenth of it, and never under a ceiling: what a proof must speak against.
func (p Pauses) Least(ceiling float64) float64 {
	if p.Firings == 0 || p.Bursts == 0 {
		return ceiling
	}
	return math.Max(garwoodLow(p.Bursts)*p.Misses/(10*p.Bursts*p.Firings), ceiling)
}

// garwoodLow is the lower 95 % limit of a Poisson mean of which k were seen (Garwood 1936).
func garwoodLow(k float64) float64 {
	if k <= 0 {
		return 0
	}
	return chiSquareQuantile(tail, 2*k) / 2
}

// surely is the odds at which a repair is proven, and a cured rate is taken to be a tenth of the least one of the fault.
const (
	surely = 20
	cured  = 0.1
)

// FiringsToProve is the clean running, in firings, after which a repair is proven that is watched all the while: Wald's
// line (Wald 1947) on bursts of a mean length against a rate least. It is valid for Poisson bursts of any size. misses
// and bursts are what came after.
func FiringsToProve(p Pauses, least, misses, bursts float64) float64 {
	b := math.Max(misses/p.Mean, bursts)
	return p.Mean * (math.Log(surely) - b*math.Log(cured)) / ((1 - cured) * least)
}

// FiringsToProveOnce is the same where the running after is looked at once, in the end: exact, since the chance of no
// burst in n firings is exp(-n least/mean).
func FiringsToProveOnce(p Pauses, least float64) float64 { return math.Log(surely) * p.Mean / least }

// FiringsToShow is the running after which the fault, as it was, would have shown but for once in 20; it wants neither the
// length of bursts nor a least rate.
func FiringsToShow(p Pauses) float64 {
	low := garwoodLow(p.Bursts)
	if low == 0 {
		return math.Inf(1)
	}
	return p.Firings * math.Log(surely) / low
}
