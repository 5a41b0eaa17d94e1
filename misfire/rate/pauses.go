package rate

import (
	"fmt"
	"math"
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
// many of the same length. phi is the plain dispersion of the running, unwidened: bursts that overlap in
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

// PauseTally gathers the pauses between the misses of windows in the order of running, in classes of a quarter octave. The
// zero tally is ready; its size does not grow.
type PauseTally struct {
	classes [pauseClasses]Pause // of each the mean pause and how many
	lead    float64             // firings before the first miss
	open    float64             // firings since the last
	missed  bool
}

const (
	pauseClasses   = 96
	octaveClasses  = 4
	shortestOctave = -2 // a quarter of a firing
)

// Add takes the next window.
func (l *PauseTally) Add(misses, firings float64) {
	if misses <= 0 {
		l.open += math.Max(0, firings)
		return
	}
	each := firings / misses // misses of one window are spread evenly over it
	first := l.open + each/2
	if l.missed {
		l.enter(first, 1)
	} else {
		l.lead, l.missed = first, true
	}
	if misses > 1 {
		l.enter(each, misses-1)
	}
	l.open = each / 2
}

func (l *PauseTally) enter(firings, times float64) {
	at := int(octaveClasses * (math.Log2(math.Max(firings, 0.25)) - shortestOctave))
	c := &l.classes[min(max(at, 0), pauseClasses-1)]
	c.Firings = (c.Firings*c.Times + firings*times) / (c.Times + times)
	c.Times += times
}

// Plus is the pauses of two pieces of running, one after the other.
func (l PauseTally) Plus(o PauseTally) PauseTally {
	switch {
	case !o.missed:
		l.open += o.open
		return l
	case !l.missed:
		o.lead += l.open
		return o
	}
	for _, c := range o.classes {
		if c.Times > 0 {
			l.enter(c.Firings, c.Times)
		}
	}
	l.enter(l.open+o.lead, 1)
	l.open = o.open
	return l
}

// String tells how many pauses there are, and the classes of them, for tests and traces.
func (l *PauseTally) String() string { return fmt.Sprint(l.lead, l.open, l.classes) }

// Closed is the pauses with the running closed to a ring; none without a miss.
func (l *PauseTally) Closed() []Pause {
	if !l.missed {
		return nil
	}
	all := []Pause{{l.lead + l.open, 1}}
	for _, c := range l.classes {
		if c.Times > 0 {
			all = append(all, c)
		}
	}
	return all
}

// Longer is how many pauses are longer than so many firings: as many bursts came after the first.
func (l *PauseTally) Longer(firings float64) float64 {
	n := 0.0
	for _, c := range l.classes {
		if c.Firings > firings {
			n += c.Times
		}
	}
	return n
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

// ProofLine is Wald's line: bursts that a least rate would have brought in clean running, to be sure that it is not there,
// and how many more each burst that came adds.
func ProofLine() (start, each float64) {
	return math.Log(surely) / (1 - cured), -math.Log(cured) / (1 - cured)
}

// FiringsToShow is the running after which the fault, as it was, would have shown but for once in 20; it wants neither the
// length of bursts nor a least rate.
func FiringsToShow(p Pauses) float64 {
	low := garwoodLow(p.Bursts)
	if low == 0 {
		return math.Inf(1)
	}
	return p.Firings * math.Log(surely) / low
}

// Unseen is how often the fault, as it was, would not have shown in so many firings; NaN where it did not show before.
func Unseen(p Pauses, firings float64) float64 {
	low := garwoodLow(p.Bursts)
	if low == 0 {
		return math.NaN()
	}
	return math.Exp(-low * firings / p.Firings)
}
