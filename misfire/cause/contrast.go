package cause

import (
	"math"
)

// Tally is misses among firings.
type Tally struct{ Misses, Firings float64 }

func (t *Tally) add(o Tally) {
	t.Misses += o.Misses
	t.Firings += o.Firings
}

// rate is misses per 1,000 firings.
func (t Tally) rate() float64 { return 1000 * t.Misses / t.Firings }

// stratum is like running seen in two ways, whose rates are set against each other.
type stratum struct{ from, to Tally }

// tells reports whether both ways were seen.
func (s *stratum) tells() bool { return min(s.from.Firings, s.to.Firings) > 0 }

// contrast is two rates of the same cylinders, to against from, in strata of like running: a difference between
// strata, as of heat, is no difference between the rates.
type contrast struct {
	strata         []stratum
	phi            float64 // dispersion of the misses
	fromRun, toRun Running
}

// The least that is compared: misses in both together, over their dispersion; firings in each.
const (
	fewMisses  = 3
	fewFirings = 120
)

// sums are the rates over the strata that tell both.
func (c *contrast) sums() (from, to Tally) {
	for _, s := range c.strata {
		if s.tells() {
			from.add(s.from)
			to.add(s.to)
		}
	}
	return from, to
}

// known reports whether enough was seen to compare.
func (c *contrast) known() bool {
	from, to := c.sums()
	return (from.Misses+to.Misses)/c.phi >= fewMisses && min(from.Firings, to.Firings) >= fewFirings
}

// capped is the contrast with no more misses on either side than may be weighed, the rates as they are.
func (c *contrast) capped() *contrast {
	from, to := c.sums()
	less := func(misses float64) float64 { return min(1, mostMisses/max(1, misses/c.phi)) }
	from.Misses, to.Misses = less(from.Misses), less(to.Misses)
	out := &contrast{phi: c.phi, fromRun: c.fromRun, toRun: c.toRun}
	for _, s := range c.strata {
		out.strata = append(out.strata, stratum{
			Tally{s.from.Misses * from.Misses, s.from.Firings * from.Misses}, Tally{s.to.Misses * to.Misses, s.to.Firings * to.Misses}})
	}
	return out
}

// utmost is the largest ratio that is thought of, either way.
const utmost = 30

// weights is how well each of the levels that edges part explains the counts: the mean likelihood of the ratios, to over
// from, in it, on a logarithmic scale. The ratio is common to the strata: given the misses of a stratum, those of one
// side are binomial (Breslow and Day 1980, chapter 4, from memory). nil when too little was seen.
func (c *contrast) weights(edges ...float64) []float64 {
	if !c.known() {
		return nil
	}
	c = c.capped()
	const steps = 400
	log := func(i int) float64 { return math.Log(utmost) * (2*float64(i)/steps - 1) }
	likelihoods, top := make([]float64, steps+1), math.Inf(-1)
	for i := range likelihoods {
		likelihoods[i] = c.log(math.Exp(log(i)))
		top = max(top, likelihoods[i])
	}
	out, points := make([]float64, len(edges)+1), make([]float64, len(edges)+1)
	for i, l := range likelihoods {
		level := 0
		for level < len(edges) && log(i) > math.Log(edges[level]) {
			level++
		}
		out[level] += math.Exp(l - top)
		points[level]++
	}
	sum := 0.0
	for i := range out {
		out[i] /= points[i]
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

// log is the logarithm of how likely a ratio makes the counts.
func (c *contrast) log(ratio float64) float64 {
	sum := 0.0
	for _, s := range c.strata {
		if s.tells() {
			p := ratio * s.to.Firings / (ratio*s.to.Firings + s.from.Firings)
			sum += (s.to.Misses*math.Log(p) + s.from.Misses*math.Log1p(-p)) / c.phi
		}
	}
	return sum
}

func (c *contrast) told(kind TellingKind) Telling {
	from, to := c.sums()
	return Telling{Kind: kind, From: c.fromRun, FromRate: from.rate(), To: c.toRun, ToRate: to.rate()}
}

// compared is the running in two places, in strata of like heat: as hot as the engine got, and cooler by ten degrees
// each. Where windows do not tell both places in any heat, cold and warm running are the strata; where not even those,
// all together.
func (e *Evidence) compared(cylinders []int, from, to Place) contrast {
	c := contrast{phi: e.sum(cylinders, func(c *Cylinder) Count { return c.Total }).phi(), fromRun: running(from), toRun: running(to)}
	c.strata = make([]stratum, heatBins)
	split := e.split(cylinders)
	for _, cyl := range cylinders {
		for b := range heatBins {
			s := &c.strata[0]
			if b < split {
				s = &c.strata[1+(split-1-b)/hotterBy]
			}
			for _, p := range from.made() {
				s.from.add(e.Heat[cyl-1][p][b])
			}
			for _, p := range to.made() {
				s.to.add(e.Heat[cyl-1][p][b])
			}
		}
	}
	if c.known() {
		return c
	}
	c.strata = []stratum{e.tallied(cylinders, from, to, 0), e.tallied(cylinders, from, to, 1)}
	if !c.known() {
		c.strata[0].from.add(c.strata[1].from)
		c.strata[0].to.add(c.strata[1].to)
		c.strata = c.strata[:1]
	}
	return c
}

// running is a place as it is told.
func running(p Place) Running {
	if p == slowPull {
		return Running(Pull)
	}
	return Running(p)
}

// tallied is the running in two places, cold (0) or warm (1), as the tally has it.
func (e *Evidence) tallied(cylinders []int, from, to Place, warm int) stratum {
	of := func(p Place) Tally {
		n := e.sum(cylinders, func(c *Cylinder) (sum Count) {
			for _, q := range p.made() {
				sum.add(c.At[q][warm])
			}
			return sum
		})
		return Tally{n.Misses, n.Firings}
	}
	return stratum{of(from), of(to)}
}
