package misfire

import (
	"gonum.org/v1/gonum/stat/distuv"

	"stumble/misfire/rate"
)

func estimate(misses, firings, phi float64, atLeast bool) rate.Estimate {
	if atLeast {
		return rate.AtLeast(misses, firings, phi)
	}
	return rate.Interval(misses, firings, phi)
}

// dispersion is how much a cylinder's misses vary beyond chance, over all cells that can tell; 1 and false
// when they hold too few misses to tell it by.
func (l *level) dispersion(cylinder int, still bool) (phi float64, judged bool) {
	var bursts []rate.Burst
	misses := 0.0
	for _, tl := range l.of(cylinder) {
		tl = tl.seen(still)
		if p, ok := tl.bursts.Phi(); ok {
			bursts = append(bursts, rate.Burst{Phi: p, Misses: tl.misses})
			misses += tl.misses
		}
	}
	phi = rate.PooledPhi(bursts)
	if misses/phi < fewestToPool {
		return 1, false
	}
	return phi * widening(misses/phi), true
}

// fewestToPool is how many effective misses a dispersion must have been seen over before other cells are
// judged by it: one cell with two misses says nothing about the rest.
const fewestToPool = 3

// spread is a dispersion, and whether there were misses enough to tell it by.
type spread struct {
	phi    float64
	judged bool
}

// spreads works out the dispersion of every cylinder, by conditions and by gear states.
func (r *review) spreads() {
	r.least = unjudged(r.gears.windows)
	for i := range r.cylinders {
		still := r.still(i)
		r.byCondition[i].phi, r.byCondition[i].judged = r.fine.dispersion(i, still)
		r.byGear[i].phi, r.byGear[i].judged = r.gears.dispersion(i, still)
	}
}

// dispersion is a cylinder's, as its cells of a level tell it or, where they are too short to tell, those of
// the other: finer cells are freer of what only looks like bursts, wider ones longer.
func (r *review) dispersion(l *level, cylinder int) float64 {
	first, second := r.byCondition[cylinder], r.byGear[cylinder]
	if l == &r.gears {
		first, second = second, first
	}
	switch {
	case first.judged:
		return max(first.phi, r.least)
	case second.judged:
		return max(second.phi, r.least)
	}
	return r.least
}

// own is the dispersion of one cylinder's cell, by its own blocks when there are enough of them.
func (r *review) own(l *level, t *tally, cylinder int) (phi float64, judged bool) {
	if phi, judged = t.bursts.Final(); judged {
		return phi, true
	}
	return r.dispersion(l, cylinder), false
}

// mild is the dispersion taken while too little has run to tell whether the misses come in bursts: ignition
// faults seldom miss evenly (common practice, no source), so limits as if they did would promise too much.
const mild = 1.5

// unjudged is the dispersion while none can be told, widened for how few windows there are, as package rate
// widens a dispersion measured on few blocks.
func unjudged(windows int) float64 {
	const most = 4.0 // times mild: beyond it nothing would ever be said of the first minute
	return mild * min(most, widening(float64(windows)))
}

// widening is how much limits grow for a dispersion seen over few independent pieces of evidence: Student's t
// in place of the normal distribution, as package rate has it (after Korn and Graubard 1998).
func widening(pieces float64) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: max(pieces-1, 1)}.Quantile(0.975) / distuv.UnitNormal.Quantile(0.975)
	return t * t
}
