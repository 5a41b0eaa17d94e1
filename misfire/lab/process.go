package lab

import (
	"math"
	"math/rand/v2"
)

// Process is how the misses of one cylinder come. It is asked once a firing.
type Process interface {
	// Miss tells whether a firing fails whose mean chance, over a long time in like running, is p; at is seconds into the
	// drive.
	Miss(p, at float64) bool
}

// Family makes processes of one kind.
type Family struct {
	Name string
	New  func(rng *rand.Rand) Process
}

// Families are the kinds of misses that limits, names and proofs were worked out on; Others are kinds that nothing was
// tuned on.
func Families() []Family {
	return []Family{
		{"steady", func(r *rand.Rand) Process { return &steady{r} }},
		{"runs5", func(r *rand.Rand) Process { return &runs{rng: r, mean: 5, dense: 0.9} }},
		{"runs40", func(r *rand.Rand) Process { return &runs{rng: r, mean: 40, dense: 0.6} }},
		{"on-off", func(r *rand.Rand) Process { return &onOff{rng: r, on: 30, share: 0.15, outside: 0.1} }},
		{"excite20", func(r *rand.Rand) Process { return &exciting{rng: r, branching: 0.8, memory: 20} }},
		{"excite300", func(r *rand.Rand) Process { return &exciting{rng: r, branching: 0.8, memory: 300} }},
		{"pareto", func(r *rand.Rand) Process { return &clusters{rng: r, exponent: 1.3, most: 500} }},
		{"1in20", func(r *rand.Rand) Process { return &minute{rng: r, share: 1.0 / 20, length: 60} }},
		{"drift", func(r *rand.Rand) Process { return &drift{rng: r, deviation: 0.8, memory: 120} }},
		{"wave", func(r *rand.Rand) Process { return &wave{rng: r, period: 180, phase: 2 * math.Pi * r.Float64()} }},
	}
}

// Others are families that no rule was tuned on.
func Others() []Family {
	return []Family{
		{"runs12", func(r *rand.Rand) Process { return &runs{rng: r, mean: 12, dense: 0.75} }},
		{"excite80", func(r *rand.Rand) Process { return &exciting{rng: r, branching: 0.6, memory: 80} }},
		{"on-off long", func(r *rand.Rand) Process { return &onOff{rng: r, on: 200, share: 0.25, outside: 0.05} }},
		{"pareto2", func(r *rand.Rand) Process { return &clusters{rng: r, exponent: 1.8, most: 200} }},
		{"halves", func(r *rand.Rand) Process { return &minute{rng: r, share: 0.3, length: 20} }},
		{"saw", func(r *rand.Rand) Process { return &saw{rng: r, period: 47, phase: 47 * r.Float64()} }},
	}
}

// steady misses are alone.
type steady struct{ rng *rand.Rand }

func (s *steady) Miss(p, _ float64) bool { return s.rng.Float64() < p }

// runs come in geometric runs of so many firings, of which so many miss.
type runs struct {
	rng   *rand.Rand
	mean  float64
	dense float64
	in    bool
}

func (r *runs) Miss(p, _ float64) bool {
	if !r.in {
		// A share q of firings lies in runs with q dense = p; a run begins with a chance that makes it so.
		q := math.Min(p/r.dense, 0.95)
		r.in = r.rng.Float64() < q/(1-q)/r.mean
	}
	if !r.in {
		return false
	}
	miss := r.rng.Float64() < r.dense
	r.in = r.rng.Float64() >= 1/r.mean
	return miss
}

// onOff is a fault that comes and goes, and misses a little outside.
type onOff struct {
	rng            *rand.Rand
	on             float64 // firings
	share, outside float64
	is             bool
}

func (o *onOff) Miss(p, _ float64) bool {
	if o.is {
		o.is = o.rng.Float64() >= 1/o.on
	} else {
		o.is = o.rng.Float64() < o.share/(1-o.share)/o.on
	}
	high := p / (o.share + o.outside*(1-o.share))
	if !o.is {
		high *= o.outside
	}
	return o.rng.Float64() < math.Min(high, 0.98)
}

// exciting misses bring further ones for a while (Hawkes 1971).
type exciting struct {
	rng       *rand.Rand
	branching float64
	memory    float64 // firings
	heat      float64
}

func (e *exciting) Miss(p, _ float64) bool {
	chance := p*(1-e.branching) + e.heat
	e.heat *= math.Exp(-1 / e.memory)
	if e.rng.Float64() >= math.Min(chance, 0.98) {
		return false
	}
	e.heat += e.branching * (1 - math.Exp(-1/e.memory))
	return true
}

// clusters have heavy tails: sizes after Pareto, cut off, nine of ten firings of one missing.
type clusters struct {
	rng      *rand.Rand
	exponent float64
	most     float64
	left     int
}

const clusterDense = 0.9

func (c *clusters) Miss(p, _ float64) bool {
	if c.left == 0 && c.rng.Float64() < p/c.meanSize() {
		size := math.Pow(1-c.rng.Float64()*(1-math.Pow(c.most, -c.exponent)), -1/c.exponent)
		c.left = max(1, int(math.Round(size/clusterDense)))
	}
	if c.left == 0 {
		return false
	}
	c.left--
	return c.rng.Float64() < clusterDense
}

// meanSize is the mean of a Pareto distribution from 1 on, cut off.
func (c *clusters) meanSize() float64 {
	a, b := c.exponent, c.most
	return a / (a - 1) * (1 - math.Pow(b, 1-a)) / (1 - math.Pow(b, -a))
}

// minute misses in one stretch of some seconds out of a number of them, and a little outside.
type minute struct {
	rng     *rand.Rand
	share   float64
	length  float64 // seconds
	until   float64
	is      bool
	started bool
}

func (m *minute) Miss(p, at float64) bool {
	if !m.started || at >= m.until {
		first := !m.started
		m.started = true
		m.is = m.rng.Float64() < m.share
		m.until = at + m.length
		if first { // the drive does not begin with a stretch
			m.until = at + m.length*m.rng.Float64()
		}
	}
	if !m.is {
		return false
	}
	return m.rng.Float64() < math.Min(p/m.share, 0.98)
}

// drift is a rate that wanders, log normal.
type drift struct {
	rng               *rand.Rand
	deviation, memory float64 // memory in seconds
	level             float64
	last              float64
	began             bool
}

func (d *drift) Miss(p, at float64) bool {
	if !d.began {
		d.began, d.level, d.last = true, d.rng.NormFloat64(), at
	}
	if dt := at - d.last; dt >= 1 {
		keep := math.Exp(-dt / d.memory)
		d.level = keep*d.level + math.Sqrt(1-keep*keep)*d.rng.NormFloat64()
		d.last = at
	}
	return d.rng.Float64() < math.Min(p*math.Exp(d.deviation*d.level-d.deviation*d.deviation/2), 0.98)
}

// wave is a rate that goes up and down regularly.
type wave struct {
	rng           *rand.Rand
	period, phase float64 // seconds
}

func (w *wave) Miss(p, at float64) bool {
	return w.rng.Float64() < p*(1+0.9*math.Sin(2*math.Pi*at/w.period+w.phase))
}

// saw is a rate that rises and falls off at once, over and over.
type saw struct {
	rng           *rand.Rand
	period, phase float64
}

func (s *saw) Miss(p, at float64) bool {
	along := math.Mod(at+s.phase, s.period) / s.period
	return s.rng.Float64() < math.Min(3*p*along*along, 0.98)
}
