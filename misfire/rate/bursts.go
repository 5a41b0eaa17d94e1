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
	// fewestBlocks is how few still count where bursts prove long.
	fewestBlocks = 5
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
	jumps   float64 // sum over pairs of neighbours of (x n' - x' n)^2 / (n n' (n+n'))
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
	phi, _, judged = d.measure()
	return phi, judged
}

// Final is the dispersion widened for having been measured on few bursts and
// few blocks: what the other functions of this package want as phi. It is phi
// times (t/1.96)^2, t being Student's 97.5 % point with one degree of freedom
// less than there are effective misses, or blocks if they are fewer; at most 4
// times the misses. After Korn and Graubard 1998, who do the same for clustered
// surveys.
func (d *Dispersion) Final() (phi float64, judged bool) {
	phi, blocks, judged := d.measure()
	if !judged {
		return phi, false
	}
	return widened(phi, blocks, d.total.Misses), true
}

// measure gives the dispersion and the number of blocks it was seen over.
//
// Where the highest rung of ten blocks stands half above the rung two below,
// the bursts are long for so short a drive and ten blocks do not show all of
// them: then the rungs down to five blocks count too, each carried on by as
// much as it rose (for bursts of any length what is missing halves from rung to
// rung in the end). Without this, drives of ten to thirty bursts had limits
// that held the truth 80 to 92 % of the time; so they still do when a burst, or
// a bad patch, lasts more than a thirtieth of the drive.
func (d *Dispersion) measure() (phi, blocks float64, judged bool) {
	phi, blocks = 1, d.ladder[0].blocks
	if blocks < enoughBlocks || d.total.Misses == 0 {
		return phi, blocks, false
	}
	rising := d.rising()
	fewest := float64(enoughBlocks)
	if rising {
		fewest = fewestBlocks
	}
	below := math.Inf(1)
	for i := range d.ladder {
		r := &d.ladder[i]
		if r.blocks < fewest {
			break
		}
		here := r.phi()
		carried := here
		if rising && here > below {
			carried += here - below
		}
		if carried > phi {
			phi, blocks = carried, r.blocks
		}
		below = here
	}
	return phi, blocks, true
}

// Local is [Dispersion.Final] seen between neighbouring blocks only, as the Allan
// factor does, so that a rate which slowly changes is not taken for bursts: what
// a [Trend] wants as phi. The whole dispersion would swallow the very trend that
// is looked for.
func (d *Dispersion) Local() (phi float64, judged bool) {
	phi, pairs := 1.0, math.Floor(d.ladder[0].blocks/2)
	if d.ladder[0].blocks < enoughBlocks || d.total.Misses == 0 {
		return phi, false
	}
	for i := range d.ladder {
		r := &d.ladder[i]
		if r.blocks < enoughBlocks {
			break
		}
		if here := r.local(); here > phi {
			phi, pairs = here, math.Floor(r.blocks/2)
		}
	}
	return widened(phi, pairs+1, d.total.Misses), true
}

// widened applies Student's factor.
func widened(phi, blocks, misses float64) float64 {
	freedom := math.Max(1, math.Min(misses/phi, blocks)-1)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Quantile(1 - tail)
	return atLeastOne(math.Min(phi*t*t/(normalTail*normalTail), 4*misses))
}

// rising tells that the dispersion still grows at the top of the ladder.
func (d *Dispersion) rising() bool {
	top := 0
	for top+1 < rungs && d.ladder[top+1].blocks >= enoughBlocks {
		top++
	}
	lower := math.Max(1, d.ladder[max(0, top-2)].phi())
	return d.ladder[top].phi() > 1.5*lower
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
	merged = r.half.plus(block)
	jump := r.half.Misses*block.Firings - block.Misses*r.half.Firings
	r.jumps += jump * jump / (r.half.Firings * block.Firings * merged.Firings)
	return merged, true
}

// phi is Pearson's statistic per degree of freedom over the rung's blocks, 1
// where there is nothing to judge.
func (r *rung) phi() float64 {
	if r.blocks < 2 || r.sum.Misses == 0 {
		return 1
	}
	chi2 := r.squares/r.sum.Rate() - r.sum.Misses
	return chi2 / (r.blocks - 1)
}

// local is the mean square of neighbours' differences over what single misses
// would give.
func (r *rung) local() float64 {
	pairs := math.Floor(r.blocks / 2)
	if pairs == 0 || r.sum.Misses == 0 {
		return 1
	}
	return r.jumps / pairs / r.sum.Rate()
}
