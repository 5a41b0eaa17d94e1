package rate

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// problem is the likelihood of shared-out lumps, in the shares s: the misses
// expected in each condition (or group that cannot be told apart). A window's
// mean is sum of s x weight, weight being its part of the condition's firings;
// the log-likelihood, but for a constant, sum x log mean - sum s. It is concave
// with one maximum when the windows tell the conditions apart.
type problem struct {
	rows       []row
	firings    []float64 // by group
	misses     float64
	allFirings float64

	slope, step, trial []float64 // kept between steps
	free               []int
}

// row is one window: its misses and its weight in each group it touches.
type row struct {
	misses float64
	group  []int
	weight []float64
}

// problem lays the windows out over groups of conditions.
func (l *Lumps) problem(groups [][]int, conditions int) *problem {
	k := len(groups)
	of := make([]int, conditions)
	for g, members := range groups {
		for _, c := range members {
			of[c] = g
		}
	}
	p := &problem{firings: make([]float64, k)}
	p.slope, p.step, p.trial = make([]float64, k), make([]float64, k), make([]float64, k)
	for g, members := range groups {
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

// mean is a window's expected misses at the shares s.
func (r *row) mean(s []float64) float64 {
	var m float64
	for j, g := range r.group {
		m += r.weight[j] * s[g]
	}
	return m
}

// likelihood is the log-likelihood at the shares s, -Inf where a window with
// misses could have none.
func (p *problem) likelihood(s []float64) float64 {
	var l float64
	for i := range p.rows {
		if r := &p.rows[i]; r.misses > 0 {
			l += r.misses * math.Log(r.mean(s))
		}
	}
	for _, v := range s {
		l -= v
	}
	return l
}

// derive fills slope with the likelihood's first derivatives.
func (p *problem) derive(s []float64) {
	for g := range p.slope {
		p.slope[g] = -1
	}
	for i := range p.rows {
		r := &p.rows[i]
		if r.misses == 0 {
			continue
		}
		pull := r.misses / r.mean(s)
		for j, g := range r.group {
			p.slope[g] += r.weight[j] * pull
		}
	}
}

// Newton's steps end when the likelihood cannot rise by more than this.
const smallGain = 1e-12

// maximise finds the most likely shares from a start, with the share of group
// fixed held at value (fixed -1: none).
func (p *problem) maximise(start []float64, fixed int, value float64) []float64 {
	s := make([]float64, len(start))
	for g := range s {
		// EM never leaves zero, so it must not start there.
		s[g] = math.Max(start[g], 1e-6*(1+p.misses)*p.firings[g]/p.allFirings)
	}
	if fixed >= 0 {
		s[fixed] = value
	}
	if p.misses == 0 {
		for g := range s {
			if g != fixed {
				s[g] = 0
			}
		}
		return s
	}
	for range 3 {
		p.derive(s)
		for g := range s {
			if g != fixed {
				s[g] *= 1 + p.slope[g]
			}
		}
	}
	for range 100 {
		p.derive(s)
		close := p.gain(s, fixed) < smallGain*(1+p.misses)
		// One step more than needed: near the end each doubles the digits.
		if !p.newton(s, fixed) || close {
			break
		}
	}
	return s
}

// gain bounds what the likelihood can still rise: no concave function rises by
// more than its slope along the way, and the most likely free shares add up to
// no more than all misses.
func (p *problem) gain(s []float64, fixed int) float64 {
	var steepest, along float64
	for g, d := range p.slope {
		if g == fixed {
			continue
		}
		steepest = math.Max(steepest, d)
		along += d * s[g]
	}
	return steepest*p.misses - along
}

// newton takes one projected Newton step from s, in place, and tells whether it
// rose. Shares at zero that would fall further stay there.
func (p *problem) newton(s []float64, fixed int) bool {
	p.free = p.free[:0]
	for g := range s {
		if g != fixed && !(s[g] <= 1e-12*p.misses && p.slope[g] <= 0) {
			p.free = append(p.free, g)
		}
	}
	if len(p.free) == 0 || !p.solve(s) {
		return false
	}
	before := p.likelihood(s)
	for length := 1.0; length > 1e-10; length /= 2 {
		copy(p.trial, s)
		var moved float64
		for i, g := range p.free {
			p.trial[g] = math.Max(0, s[g]+length*p.step[i])
			moved += p.slope[g] * (p.trial[g] - s[g])
		}
		for g := range s {
			if g != fixed && s[g] <= 1e-12*p.misses && p.slope[g] <= 0 {
				p.trial[g] = 0
			}
		}
		after := p.likelihood(p.trial)
		if after >= before+1e-4*moved || (after >= before && moved < 1e-12*(1+p.misses)) {
			copy(s, p.trial)
			return true
		}
	}
	return false
}

// solve fills step with Newton's direction over the free shares.
func (p *problem) solve(s []float64) bool {
	n := len(p.free)
	at := make([]int, len(s))
	for g := range at {
		at[g] = -1
	}
	for i, g := range p.free {
		at[g] = i
	}
	curve := mat.NewSymDense(n, nil)
	for i := range p.rows {
		r := &p.rows[i]
		if r.misses == 0 {
			continue
		}
		m := r.mean(s)
		bend := r.misses / (m * m)
		for j, g := range r.group {
			for k, h := range r.group[:j+1] {
				if at[g] >= 0 && at[h] >= 0 {
					curve.SetSym(at[g], at[h], curve.At(at[g], at[h])+bend*r.weight[j]*r.weight[k])
				}
			}
		}
	}
	for i, g := range p.free {
		// A share on which no window with misses bears has no curvature: a little
		// lets the step run to its end.
		curve.SetSym(i, i, curve.At(i, i)*(1+1e-12)+1e-12/(1+s[g]))
	}
	var factor mat.Cholesky
	if !factor.Factorize(curve) {
		return false
	}
	right := mat.NewVecDense(n, nil)
	for i, g := range p.free {
		right.SetVec(i, p.slope[g])
	}
	var step mat.VecDense
	if factor.SolveVecTo(&step, right) != nil {
		return false
	}
	for i := range p.free {
		p.step[i] = step.AtVec(i)
	}
	return true
}

// profile gives the limits of one share: where the likelihood, highest over all
// other shares, has fallen by 1.9207 times phi.
func (p *problem) profile(best []float64, g int, phi float64) (low, high float64) {
	fall := phi * normalTail * normalTail / 2
	allowed := p.likelihood(best) - fall
	warm := best
	above := func(v float64) float64 {
		warm = p.maximise(warm, g, v)
		return p.likelihood(warm) - allowed
	}
	if best[g] > 0 {
		if at := above(0); at < 0 {
			low = closeIn(above, 0, at, best[g], fall, 1e-9)
		}
	}
	reach := 3 * math.Sqrt(phi*(best[g]+1))
	far := best[g] + reach
	at := above(far)
	for at > 0 {
		reach *= 2
		far += reach
		at = above(far)
	}
	return low, closeIn(above, best[g], fall, far, at, 1e-9)
}
