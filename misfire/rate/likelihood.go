package rate

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// problem is the likelihood of shared-out lumps, in the shares s: the misses
// expected in each condition (or group that cannot be told apart). A window's
// mean is sum of s x weight, weight being its part of the condition's firings;
// the log-likelihood, but for a constant, is sum x log mean - sum s. It is
// concave, with one maximum when the windows tell the conditions apart.
type problem struct {
	rows       []row
	firings    []float64 // by group
	misses     float64
	allFirings float64

	// Kept from step to step: first derivatives, the negated second ones (lower
	// triangle), Newton's step over the free groups, and a place to try.
	slope, step, trial []float64
	curve              [][]float64
	free               []int
}

// row is one window: its misses and its weight in each group it touches.
type row struct {
	misses float64
	group  []int
	weight []float64
}

// problem lays the windows out over groups of conditions.
func (l *Lumps) problem(groups [][]int) *problem {
	k := len(groups)
	of := make([]int, len(l.pure))
	for g, members := range groups {
		for _, c := range members {
			of[c] = g
		}
	}
	p := &problem{firings: make([]float64, k), slope: make([]float64, k), step: make([]float64, k), trial: make([]float64, k)}
	for g, members := range groups {
		p.curve = append(p.curve, make([]float64, g+1))
		var pure Count
		for _, c := range members {
			pure = pure.plus(l.pure[c])
		}
		if pure.Firings > 0 {
			p.add(row{pure.Misses, []int{g}, []float64{pure.Firings}})
		}
	}
	for _, w := range l.mixed {
		r := row{misses: w.misses}
		for _, part := range w.parts {
			r.touch(of[part.Condition], part.Firings)
		}
		p.add(r)
	}
	for i := range p.rows {
		for j, g := range p.rows[i].group {
			p.rows[i].weight[j] /= p.firings[g]
		}
	}
	return p
}

func (r *row) touch(group int, firings float64) {
	for j, g := range r.group {
		if g == group {
			r.weight[j] += firings
			return
		}
	}
	r.group = append(r.group, group)
	r.weight = append(r.weight, firings)
}

func (p *problem) add(r row) {
	for j, g := range r.group {
		p.firings[g] += r.weight[j]
		p.allFirings += r.weight[j]
	}
	p.misses += r.misses
	p.rows = append(p.rows, r)
}

// gram is the columns' inner products after scaling each to length one.
func (p *problem) gram() *mat.SymDense {
	k := len(p.firings)
	gram := mat.NewSymDense(k, nil)
	for _, r := range p.rows {
		for i, g := range r.group {
			for j, h := range r.group[:i+1] {
				gram.SetSym(g, h, gram.At(g, h)+r.weight[i]*r.weight[j])
			}
		}
	}
	length := make([]float64, k)
	for g := range length {
		length[g] = math.Sqrt(gram.At(g, g))
	}
	for g := range k {
		for h := range g + 1 {
			gram.SetSym(g, h, gram.At(g, h)/(length[g]*length[h]))
		}
	}
	return gram
}

// evaluate gives the log-likelihood at the shares s (-Inf where a window with
// misses could have none) and fills slope and curve. Windows without misses
// only take part through the sum of the shares.
func (p *problem) evaluate(s []float64) (likelihood float64) {
	for g, v := range s {
		likelihood -= v
		p.slope[g] = -1
		clear(p.curve[g])
	}
	for i := range p.rows {
		r := &p.rows[i]
		if r.misses == 0 {
			continue
		}
		var mean float64
		for j, g := range r.group {
			mean += r.weight[j] * s[g]
		}
		likelihood += r.misses * math.Log(mean)
		pull := r.misses / mean
		for j, g := range r.group {
			p.slope[g] += r.weight[j] * pull
			bend := r.weight[j] * pull / mean
			for k, h := range r.group[:j+1] {
				p.curve[max(g, h)][min(g, h)] += bend * r.weight[k]
			}
		}
	}
	return likelihood
}

// maximise moves the shares s to the most likely ones, the share of group fixed
// staying as it is (-1: none), until Newton's method promises less than gain.
// It gives the likelihood reached and leaves slope for the shares reached.
//
// One EM step comes first, which no start can lead astray; wherever Newton's
// step fails to rise, another does.
func (p *problem) maximise(s []float64, fixed int, gain float64) (likelihood float64) {
	if math.IsInf(p.evaluate(s), -1) {
		// Misses where none can be, and EM never leaves zero.
		p.lift(s, fixed)
		p.evaluate(s)
	}
	p.expect(s, fixed)
	likelihood = p.evaluate(s)
	for range 200 {
		promised, ok := p.newton(s, fixed)
		if ok && promised == 0 {
			return likelihood
		}
		next, rose := math.Inf(-1), false
		if ok {
			next, rose = p.climb(s, likelihood)
		}
		if !rose {
			likelihood = p.evaluate(s)
			if promised <= gain {
				return likelihood
			}
			p.expect(s, fixed)
			next = p.evaluate(s)
		}
		likelihood = next
		if promised <= gain {
			return likelihood
		}
	}
	return likelihood
}

// lift moves all shares but the fixed one off zero.
func (p *problem) lift(s []float64, fixed int) {
	least := 1e-9 * (1 + p.misses) / float64(len(s))
	for g := range s {
		if g != fixed {
			s[g] = math.Max(s[g], least)
		}
	}
}

// expect takes an EM step, slope being that of s.
func (p *problem) expect(s []float64, fixed int) {
	for g := range s {
		if g != fixed {
			s[g] *= 1 + p.slope[g]
		}
	}
}

// newton fills step with Newton's direction over the free shares and tells what
// rise it promises. Shares at zero that would fall further are not free.
func (p *problem) newton(s []float64, fixed int) (promised float64, ok bool) {
	p.free = p.free[:0]
	for g := range s {
		if g != fixed && !(s[g] == 0 && p.slope[g] <= 0) {
			p.free = append(p.free, g)
		}
	}
	for i, g := range p.free {
		for j, h := range p.free[:i+1] {
			p.curve[i][j] = p.curve[g][h] // free is in order: nothing is overwritten early
		}
		// A share on which no window with misses bears has no curvature: a
		// little lets the step run to its end.
		p.curve[i][i] = p.curve[i][i]*(1+1e-12) + 1e-12/(1+s[g])
		p.step[i] = p.slope[g]
	}
	if !solve(p.curve[:len(p.free)], p.step) {
		return math.Inf(1), false
	}
	for i, g := range p.free {
		promised += p.slope[g] * p.step[i] / 2
	}
	return promised, true
}

// solve replaces b by the solution of A x = b, A positive definite and given by
// its lower triangle, which is replaced too (Cholesky's method).
func solve(a [][]float64, b []float64) bool {
	for i := range a {
		for j := range i + 1 {
			sum := a[i][j]
			for k := range j {
				sum -= a[i][k] * a[j][k]
			}
			if j < i {
				a[i][j] = sum / a[j][j]
				continue
			}
			if !(sum > 0) {
				return false
			}
			a[i][i] = math.Sqrt(sum)
		}
	}
	for i := range a {
		for k := range i {
			b[i] -= a[i][k] * b[k]
		}
		b[i] /= a[i][i]
	}
	for i := len(a) - 1; i >= 0; i-- {
		for k := i + 1; k < len(a); k++ {
			b[i] -= a[k][i] * b[k]
		}
		b[i] /= a[i][i]
	}
	return true
}

// climb goes along step, all of it at first, shares stopping at zero; should the likelihood not rise so, then
// only as far as the first share reaches zero, where it stays out of the next step; then halving.
func (p *problem) climb(s []float64, from float64) (likelihood float64, rose bool) {
	if likelihood, rose = p.try(s, 1, from); rose {
		return likelihood, true
	}
	reach := p.reach(s)
	for length := reach; length == reach || length > 1e-4; length /= 2 {
		if likelihood, rose = p.try(s, length, from); rose {
			return likelihood, true
		}
	}
	return from, false
}

// reach is the part of the step at which the first share becomes zero, at most a half.
func (p *problem) reach(s []float64) float64 {
	length := 0.5
	for i, g := range p.free {
		if p.step[i] < 0 {
			length = math.Min(length, -s[g]/p.step[i])
		}
	}
	return length
}

// try goes a part of the step and stays there if the likelihood rises.
func (p *problem) try(s []float64, length, from float64) (likelihood float64, rose bool) {
	copy(p.trial, s)
	for i, g := range p.free {
		moved := s[g] + length*p.step[i]
		if moved <= 1e-12*s[g] { // at zero but for rounding
			moved = 0
		}
		p.trial[g] = moved
	}
	// Near the top the rise is lost in rounding.
	if likelihood = p.evaluate(p.trial); likelihood < from-1e-13*math.Abs(from) {
		return likelihood, false
	}
	copy(s, p.trial)
	return likelihood, true
}

// limits gives where the likelihood, highest over all other shares, has fallen
// by 1.9207 times phi on either side of the best share of group g.
func (p *problem) limits(best []float64, top float64, g int, phi float64) (low, high float64) {
	pr := profile{problem: p, group: g, top: top, wanted: normalTail * math.Sqrt(phi), shares: make([]float64, len(best))}
	reach := normalTail * math.Sqrt(phi*(best[g]+1))
	if best[g] > 0 {
		copy(pr.shares, best)
		low = pr.cross(math.Max(best[g]-reach, best[g]/4), best[g], true)
	}
	copy(pr.shares, best)
	return low, pr.cross(best[g]+reach, best[g], false)
}

// profile follows one share away from its best value, the others adapting.
type profile struct {
	*problem
	group  int
	top    float64   // the likelihood at its best
	wanted float64   // signed-root fall that is looked for
	shares []float64 // where the last value left the others
}

// fall is the square root of twice what the likelihood has fallen by at value v,
// nearly a straight line in the root of v, and its derivative by that root. The
// others being at their best, only v itself moves the likelihood.
func (p *profile) fall(v float64) (z, slope float64) {
	p.shares[p.group] = v
	l := p.maximise(p.shares, p.group, 1e-8)
	z = math.Sqrt(2 * math.Max(0, p.top-l))
	return z, -p.slope[p.group] / z * 2 * math.Sqrt(v)
}

// cross looks from the best value down to zero, or upwards, for where the wanted
// fall is reached, by Newton's steps kept inside a bracket. Downwards it gives
// zero when the fall is never reached.
func (p *profile) cross(start, best float64, down bool) float64 {
	low, high := math.Sqrt(best), math.Inf(1)
	if down {
		low, high = 0, math.Sqrt(best)
	}
	w := math.Sqrt(start)
	for range 60 {
		z, slope := p.fall(w * w)
		if math.Abs(z-p.wanted) <= 1e-5*p.wanted {
			break
		}
		if down == (z > p.wanted) {
			low = w
		} else {
			high = w
		}
		w += (p.wanted - z) / slope
		if w > low && w < high {
			continue
		}
		switch {
		case math.IsInf(high, 1):
			w = 2 * low
		case low > 0 || w > low:
			w = (low + high) / 2
		default:
			if z, _ := p.fall(0); z <= p.wanted {
				return 0
			}
			w = high / 4
		}
	}
	return w * w
}
