package rate

import (
	"math"
)

// Ladder keeps what the windows of one cylinder tell of bursts, whatever their kind: running is cut into blocks of one
// window, two, four and so on, and of each length the sums are kept that Pearson's statistic and its own doubt need, at
// whatever rate they are looked at later. The zero Ladder is ready. Memory grows with the logarithm of the windows.
type Ladder struct {
	rungs  []rungSums
	total  Count
	missed int // windows with a miss
}

// rungSums is one block length.
type rungSums struct {
	half    Count // the first of two neighbours, waiting for the second
	waiting bool

	blocks float64
	sum    Count
	// Sums over blocks of the powers of misses x and firings n; named xaan for x^2 n and so on.
	xx, xn, nn             float64
	xxxx, xxxn, xxnn, xnnn float64
	nnnn                   float64
	peaks                  [4]Count // the blocks with the most misses, of which one may be the largest burst
}

// Add takes the next window: misses among firings. A window without firings is left out, its misses too: they have no
// place.
func (l *Ladder) Add(misses, firings float64) {
	c := Count{misses, firings}.clean()
	if c.Firings == 0 {
		return
	}
	l.total = l.total.plus(c)
	if c.Misses > 0 {
		l.missed++
	}
	for i := 0; ; i++ {
		if i == len(l.rungs) {
			l.rungs = append(l.rungs, rungSums{})
		}
		merged, full := l.rungs[i].add(c)
		if !full {
			return
		}
		c = merged
	}
}

// Total is everything added so far.
func (l *Ladder) Total() Count { return l.total }

// Windows is how many windows were added.
func (l *Ladder) Windows() int {
	if len(l.rungs) == 0 {
		return 0
	}
	return int(l.rungs[0].blocks)
}

// Clone is a copy that can be added to by itself.
func (l *Ladder) Clone() (c Ladder) {
	l.CopyTo(&c)
	return c
}

// CopyTo makes another ladder a copy, in the room that it has.
func (l *Ladder) CopyTo(dst *Ladder) {
	rungs := append(dst.rungs[:0], l.rungs...)
	*dst = *l
	dst.rungs = rungs
}

// add puts a block on the rung and gives back the merged pair when it made one.
func (r *rungSums) add(c Count) (merged Count, full bool) {
	x, n := c.Misses, c.Firings
	r.blocks++
	r.sum = r.sum.plus(c)
	xx, xn, nn := x*x, x*n, n*n
	r.xx, r.xn, r.nn = r.xx+xx, r.xn+xn, r.nn+nn
	r.xxxx, r.xxxn, r.xxnn, r.xnnn, r.nnnn = r.xxxx+xx*xx, r.xxxn+xx*xn, r.xxnn+xx*nn, r.xnnn+xn*nn, r.nnnn+nn*nn
	r.keepPeak(c)
	if !r.waiting {
		r.half, r.waiting = c, true
		return Count{}, false
	}
	r.waiting = false
	return r.half.plus(c), true
}

// keepPeak keeps a block that may be the largest burst: more misses than others, or as many in less running.
func (r *rungSums) keepPeak(c Count) {
	if c.Misses == 0 {
		return
	}
	for i := range r.peaks {
		p := &r.peaks[i]
		if p.Misses >= c.Misses && p.Firings <= c.Firings && p.Firings > 0 {
			return // that one is larger at any rate
		}
	}
	least := 0
	for i := range r.peaks {
		p := &r.peaks[i]
		if c.Misses >= p.Misses && c.Firings <= p.Firings {
			*p = Count{} // the new one is larger at any rate
		}
		if r.peaks[i].Misses < r.peaks[least].Misses {
			least = i
		}
	}
	if c.Misses > r.peaks[least].Misses {
		r.peaks[least] = c
	}
}

// squares is the sum over blocks of d^2, d being misses less those due at a rate p per firing; fourths that of d^4.
func (r *rungSums) squares(p float64) float64 {
	return math.Max(0, r.xx-2*p*r.xn+p*p*r.nn)
}

func (r *rungSums) fourths(p float64) float64 {
	return math.Max(0, r.xxxx-4*p*r.xxxn+6*p*p*r.xxnn-4*p*p*p*r.xnnn+p*p*p*p*r.nnnn)
}

// largest is the largest burst among the rung's blocks at a rate p: what no steady rate would pile up in one of so many
// blocks.
func (r *rungSums) largest(p, blocks float64) float64 {
	most := 0.0
	for _, c := range r.peaks {
		m := p * c.Firings
		most = math.Max(most, c.Misses-m-math.Sqrt(2*m*math.Log(math.Max(blocks, 1))))
	}
	return most
}

// Fitted is windows with the rate per firing that they are looked at by.
type Fitted struct {
	*Ladder
	Rate float64
}

// Bursts is how the misses of one cylinder pile up, over blocks of every length.
type Bursts struct {
	Misses  float64
	Firings float64
	Windows int
	Missed  int // windows with a miss
	Lengths []Length
	Largest float64 // misses of the largest burst, at least 1: what no steady rate would pile up
	// Rise is the mean excess of dispersion over the two longest lengths, and Growth what it comes to when carried on to
	// all of the running: with bursts as long as the blocks it still grows there.
	Rise, Growth float64

	floor float64 // of the dispersion above 1: what is known from elsewhere
}

// Length is one length of block.
type Length struct {
	Blocks  float64
	Phi     float64 // variance over mean
	Freedom float64 // degrees of freedom that say as much (Satterthwaite 1946)
}

// Measure looks at windows of one cylinder by their fitted rates; the parts are as many pieces of running, and blocks are
// cut within each. Lengths with fewer blocks than fewest are left out; fitted is how many rates were fitted to them.
func Measure(fewest int, fitted float64, parts ...Fitted) Bursts {
	b := Bursts{Largest: 1}
	deepest := 0
	for _, p := range parts {
		b.Misses += p.total.Misses
		b.Firings += p.total.Firings
		b.Windows += p.Windows()
		b.Missed += p.missed
		deepest = max(deepest, len(p.rungs))
	}
	for i := range deepest {
		var blocks, squares, fourths, misses, largest float64
		for _, p := range parts {
			if i < len(p.rungs) {
				blocks += p.rungs[i].blocks
			}
		}
		if blocks < float64(fewest) {
			break
		}
		for _, p := range parts {
			if i >= len(p.rungs) {
				continue
			}
			r := &p.rungs[i]
			squares += r.squares(p.Rate)
			fourths += r.fourths(p.Rate)
			misses += r.sum.Misses
			largest = math.Max(largest, r.largest(p.Rate, blocks))
		}
		b.Largest = math.Max(b.Largest, largest)
		b.Lengths = append(b.Lengths, lengthOf(blocks, fitted, squares, fourths, misses))
	}
	b.grow()
	return b
}

func lengthOf(blocks, fitted, squares, fourths, misses float64) Length {
	l := Length{Blocks: blocks, Phi: 1, Freedom: math.Max(1, blocks-1)}
	if misses == 0 || blocks <= fitted {
		return l
	}
	v := blocks / (blocks - fitted) * squares
	l.Phi = v / misses
	if fourths > 0 {
		l.Freedom = math.Max(1, math.Min(blocks-1, 2*v*v/fourths))
	}
	return l
}

// grow finds how the dispersion grows at the longest lengths, and carries it on.
func (b *Bursts) grow() {
	n := len(b.Lengths)
	if n < 2 {
		return
	}
	excess := func(i, j int) float64 { return (b.Lengths[i].Phi+b.Lengths[j].Phi)/2 - 1 }
	b.Rise = excess(n-1, n-2)
	slope := 1.0
	if n >= 4 {
		if before := excess(n-3, n-4); before > 0 {
			slope = math.Min(math.Max(math.Log2(b.Rise/before)/2, 0), 1)
		}
	}
	if b.Rise <= 0 || math.IsNaN(slope) {
		return
	}
	b.Growth = b.Rise * math.Pow(math.Max(1, b.Lengths[n-1].Blocks/1.4), slope)
}

// growing tells that the dispersion still grows at the longest lengths, beyond chance.
func (b *Bursts) growing() bool {
	n := len(b.Lengths)
	return n >= 4 && b.Rise > 0.5+b.Lengths[n-1].chance()
}

// chance is the standard error of a length's dispersion by chance alone, where misses are steady and not few.
func (l Length) chance() float64 { return math.Sqrt(2 / math.Max(1, l.Blocks-1)) }
