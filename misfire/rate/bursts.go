package rate

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	// blockFirings is the shortest block: 200 revolutions of a four-stroke.
	blockFirings = 100
	// enoughBlocks is how many blocks a dispersion needs to be judged.
	enoughBlocks = 10
	// rungs bounds the ladder: ten blocks of 100 x 2^19 firings are weeks of running.
	rungs = 20
)

// Dispersion measures how much more the misses of one cylinder in one
// condition vary than chance alone would have it, because they come in bursts.
// The zero value is ready.
//
// Running is cut into consecutive blocks of 100 firings or a little more (a
// window is never split), and Pearson's statistic per degree of freedom is
// taken over the blocks (McCullagh and Nelder 1989, section 6.2), then over
// pairs of neighbours, fours, eights and so on while ten of them remain; the
// largest counts. Bursts longer than a block make neighbours alike, which the
// short blocks cannot see.
//
// It keeps sums only: constant memory and no allocation however long a drive.
type Dispersion struct {
	open   Count // the block being filled
	ladder [rungs]rung
	total  Count
}

// rung is one block length of the ladder. Pearson's statistic around the mean
// rate r needs only sums: sum (x-nr)^2/(nr) = (sum x^2/n)/r - sum x.
type rung struct {
	half    Count // the first of two neighbours, waiting for the second
	waiting bool
	blocks  float64
	sum     Count
	squares float64 // sum of x^2/n
}

// Add takes one window: misses among firings, in the order of running. A window
// without firings is left out, its misses too, for they have no place.
func (d *Dispersion) Add(misses, firings float64) {
	c := Count{misses, firings}.clean()
	if c.Firings == 0 {
		return
	}
	d.total = d.total.plus(c)
	d.open = d.open.plus(c)
	if d.open.Firings < blockFirings {
		return
	}
	block := d.open
	d.open = Count{}
	for i := range d.ladder {
		merged, full := d.ladder[i].add(block)
		if !full {
			return
		}
		block = merged
	}
}

// Total is everything added so far.
func (d *Dispersion) Total() Count { return d.total }

// Blocks is how many blocks of 200 revolutions are complete.
func (d *Dispersion) Blocks() int { return int(d.ladder[0].blocks) }

// Phi is the dispersion, at least 1. It is judged only with ten blocks and a
// miss among them; unjudged, phi is 1 and says nothing, and no verdict may be
// stronger than "not yet proven".
func (d *Dispersion) Phi() (phi float64, judged bool) {
	phi = 1
	for i := range d.ladder {
		r := &d.ladder[i]
		if r.blocks < enoughBlocks {
			break
		}
		if r.sum.Misses > 0 {
			judged = true
			phi = math.Max(phi, r.phi())
		}
	}
	return phi, judged
}

// Final is [Dispersion.Phi] with [WithFewBursts] applied: what the other
// functions of this package want as phi.
func (d *Dispersion) Final() (phi float64, judged bool) {
	phi, judged = d.Phi()
	return WithFewBursts(phi, d.total.Misses), judged
}

// Chance is how often independent misses would vary as much between blocks of
// 200 revolutions by chance alone: the index of dispersion against chi-square
// (Fisher 1950). It needs about one miss a block and serves to say "comes in
// bursts" under 0.01. NaN while unjudged.
func (d *Dispersion) Chance() float64 {
	r := &d.ladder[0]
	if r.blocks < enoughBlocks || r.sum.Misses == 0 {
		return math.NaN()
	}
	return chiSquareTail((r.blocks-1)*r.phi(), r.blocks-1)
}

// WithFewBursts widens a dispersion for having been measured on few bursts:
// phi times (t/1.96)^2, t being Student's 97.5 % point with one degree of
// freedom less than there are effective misses, at most 4 times misses. After
// Korn and Graubard 1998, who do the same for clustered surveys.
func WithFewBursts(phi, misses float64) float64 {
	phi, misses = atLeastOne(phi), count(misses)
	if misses == 0 {
		return phi
	}
	freedom := math.Max(misses/phi-1, 1)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(1 - tail)
	return atLeastOne(math.Min(phi*t*t/(normalTail*normalTail), 4*misses))
}

// Burst is one cylinder's dispersion and the misses it was measured on.
type Burst struct {
	Phi    float64
	Misses float64
}

// PooledPhi is the dispersion of several cylinders together, weighted by their
// misses; 1 when none has any.
func PooledPhi(bursts []Burst) float64 {
	var sum, weight float64
	for _, b := range bursts {
		m := count(b.Misses)
		sum += m * atLeastOne(b.Phi)
		weight += m
	}
	if weight == 0 {
		return 1
	}
	return sum / weight
}

func (c Count) plus(o Count) Count {
	return Count{c.Misses + o.Misses, c.Firings + o.Firings}
}

// add puts a block on the rung and gives back the merged pair when it made one.
func (r *rung) add(block Count) (merged Count, full bool) {
	r.blocks++
	r.sum = r.sum.plus(block)
	r.squares += block.Misses * block.Misses / block.Firings
	if !r.waiting {
		r.half, r.waiting = block, true
		return Count{}, false
	}
	r.waiting = false
	return r.half.plus(block), true
}

// phi is Pearson's statistic per degree of freedom over the rung's blocks.
func (r *rung) phi() float64 {
	chi2 := r.squares/r.sum.Rate() - r.sum.Misses
	return chi2 / (r.blocks - 1)
}
