package cause

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"stumble/misfire/track"
)

// Fact is one thing that was found, as far as it can be told.
type Fact struct {
	Feature string    // of features.csv
	Weights []float64 // over its levels, summing to 1
	Found   Telling
	Said    string // the stronger witness of the same thing, if this one is not weighed; else empty

	group string // of a code or a symptom, which features.csv does not hold
	rows  []row  // how often causes show it; nil where likelihoods.csv tells
}

// rowsFor is how often causes show a fact.
func (b *Book) rowsFor(f *Fact) []row {
	if f.rows != nil {
		return f.rows
	}
	return b.likelihoods[f.Feature]
}

// facts puts the evidence as facts about the cylinders of s, the strongest of each group first.
func (e *Evidence) facts(b *Book, s *scope) []Fact {
	all := make(map[string]Fact)
	put := func(feature string, weights []float64, found Telling) {
		if weights != nil {
			all[feature] = Fact{Feature: feature, Weights: weights, Found: found}
		}
	}
	switch {
	case s.named:
		put("scope", s.weights, e.fall(s))
	case s.weights != nil:
		put("scope", s.weights, e.lastFall(s))
	}
	if coded, weights, ok := e.coded(); ok {
		put("code_scope", weights, Telling{Kind: CodesName, Cylinders: coded.cylinders})
	}
	if s.named {
		e.manners(s, put)
		e.heat(s, put)
		if !e.dead(s) {
			e.contrasts(s, put)
		}
	}
	e.dips(put)
	e.frame(put)
	e.mixture(s, put)
	var more []Fact
	e.codes(b, s, func(f Fact) {
		if f.rows == nil {
			all[f.Feature] = f
			return
		}
		more = append(more, f)
	})
	e.told(b, func(f Fact) { more = append(more, f) })
	return inOrder(b, all, more)
}

// inOrder lists facts in the order of the book, then more, which codes and the driver tell, and silences all but the
// first of each group.
func inOrder(b *Book, found map[string]Fact, more []Fact) []Fact {
	var out []Fact
	heard, open := make(map[string]string), make(map[string]bool) // what was measured and left open silences nobody
	for _, f := range b.features {
		fact, ok := found[f.key]
		if !ok {
			continue
		}
		if fact.Said = heard[f.group]; fact.Said == "" {
			heard[f.group] = f.key
			open[f.key] = slices.Max(fact.Weights) < clear
		}
		out = append(out, fact)
	}
	for _, fact := range more {
		if fact.Said = heard[fact.group]; fact.Said == "" || open[fact.Said] {
			fact.Said, heard[fact.group] = "", fact.Feature
		}
		out = append(out, fact)
	}
	return out
}

// fall is how the misses counted fall on the cylinders.
func (e *Evidence) fall(s *scope) Telling {
	mine, all := e.sum(s.cylinders, func(c *Cylinder) Count { return c.Total }), 0.0
	for i := range e.Cylinders {
		all += e.Cylinders[i].Total.Misses
	}
	return Telling{Kind: MissesFall, Among: Among(s.kind), Cylinders: s.cylinders, Misses: mine.Misses, All: all}
}

// lastFall is the same of the car's own counts of its last driving cycle.
func (e *Evidence) lastFall(s *scope) Telling {
	mine := 0.0
	for _, cyl := range s.cylinders {
		mine += e.Last[cyl-1]
	}
	return Telling{Kind: LastFall, Among: Among(s.kind), Cylinders: s.cylinders, Misses: mine, All: sum(e.Last)}
}

// sum adds up a count over some cylinders.
func (e *Evidence) sum(cylinders []int, of func(*Cylinder) Count) Count {
	var sum Count
	for _, cyl := range cylinders {
		sum.add(of(&e.Cylinders[cyl-1]))
	}
	return sum
}

// between is the chance of each stretch between edges.
func between(cdf func(float64) float64, edges []float64) []float64 {
	out, last := make([]float64, 0, len(edges)+1), 0.0
	for _, edge := range edges {
		p := cdf(edge)
		out = append(out, p-last)
		last = p
	}
	return append(out, 1-last)
}

// contrasts compare the running in which the cylinders miss. Of cylinders that never fire they would say the same over
// again.
func (e *Evidence) contrasts(s *scope, put func(string, []float64, Telling)) {
	between := func(feature string, from, to Place, edges ...float64) {
		c := e.compared(s.cylinders, from, to)
		put(feature, c.weights(edges...), c.told(RatesDiffer))
	}
	ran := func(p Place) bool {
		return e.sum(s.cylinders, func(c *Cylinder) Count { return c.running(p) }).Firings >= fewFirings
	}
	// Half or twice is no difference that a shop would call one; 6 and 5 times are beyond what the load alone asks
	// more of a sound spark. Judgement.
	between("gear_step", IdleNeutral, IdleGear, 0.5, 2, 6)
	loaded, rest := Pull, IdleGear
	if !ran(Pull) {
		loaded = Cruise
	}
	if !ran(IdleGear) {
		rest = IdleNeutral
	}
	between("pull_step", rest, loaded, 0.4, 1.6, 5)
	if loaded == Pull {
		between("cruise_step", rest, Cruise, 0.2, 0.6, 2)
	}
	between("speed_step", IdleNeutral, Raised, 0.4, 2)
	between("fast_step", slowPull, Fast, 0.5, 2.2)
}

// manners are how the misses come: how hard, in runs, and whether the partner is touched.
func (e *Evidence) manners(s *scope, put func(string, []float64, Telling)) {
	all := e.sum(s.cylinders, func(c *Cylinder) Count { return c.Total })
	_, most := e.extremes(s)
	often := Telling{Kind: MissesOften, ToRate: most}
	const hard = 200.0 // misses of 1,000 firings
	switch {
	case all.Firings < fewFirings || most == 0:
	case e.dead(s):
		put("severity", []float64{1, 0, 0}, Telling{Kind: NeverFires})
	case most >= hard:
		put("severity", []float64{0, 1, 0}, often)
	default:
		put("severity", []float64{0, 0, 1}, often)
	}
	judged, bursts := false, false
	for _, cyl := range s.cylinders {
		c := &e.Cylinders[cyl-1]
		judged, bursts = judged || c.Judged, bursts || c.Bursts
	}
	switch {
	case judged && bursts:
		put("bursts", []float64{1, 0}, Telling{Kind: ComeInRuns})
	case judged:
		put("bursts", []float64{0, 1}, Telling{Kind: ComeOneByOne})
	}
	e.worsening(s, put)
	e.partner(s, put)
}

// extremes are the least and the most that the cylinders miss of 1,000 in any running that is long enough: how long they
// ran elsewhere is chance.
func (e *Evidence) extremes(s *scope) (least, most float64) {
	least = math.Inf(1)
	for p := range Places {
		n := e.sum(s.cylinders, func(c *Cylinder) Count { return c.at(Place(p)) })
		if n.Firings >= fewFirings {
			least, most = min(least, n.Rate()), max(most, n.Rate())
		}
	}
	return least, most
}

// dead reports whether the cylinders never fire, whatever is asked of them.
func (e *Evidence) dead(s *scope) bool {
	const always = 850.0 // misses of 1,000 firings
	least, most := e.extremes(s)
	return most > 0 && least >= always
}

// worsening tells whether the misses grew within a drive, in like condition and beyond chance. That they did not is told
// after some minutes only.
func (e *Evidence) worsening(s *scope, put func(string, []float64, Telling)) {
	const long = 4000 // firings of one cylinder: ten minutes or so
	for _, cyl := range s.cylinders {
		if e.Cylinders[cyl-1].Worsening {
			put("worsening", []float64{1, 0}, Telling{Kind: MissesGrew, Cylinders: []int{cyl}})
			return
		}
	}
	if e.Cylinders[s.cylinders[0]-1].Total.Firings >= long {
		put("worsening", []float64{0, 1}, Telling{Kind: MissesKept})
	}
}

// partner looks at the cylinder that may share the coil.
func (e *Evidence) partner(s *scope, put func(string, []float64, Telling)) {
	if s.kind != scopeOne || e.Ignition != SharedCoils {
		return
	}
	mate := e.Engine.MateOf(s.cylinders[0])
	if mate == 0 || mate > len(e.Cylinders) {
		return
	}
	var others []int
	for i := range e.Cylinders {
		if cyl := i + 1; cyl != mate && cyl != s.cylinders[0] {
			others = append(others, cyl)
		}
	}
	total := func(c *Cylinder) Count { return c.Total }
	its, theirs := capped(e.Cylinders[mate-1].Total), capped(e.sum(others, total))
	if e.Cylinders[mate-1].Total.Firings < 10*fewFirings || theirs.Firings == 0 {
		return
	}
	const times = 3
	f := distuv.F{D1: 2*its.Effective + 1, D2: 2*theirs.Effective + 1}
	clean := f.CDF(times * its.Firings / theirs.Firings * (theirs.Effective + 0.5) / (its.Effective + 0.5))
	put("partner", []float64{1 - clean, clean}, Telling{Kind: PartnerMisses, Cylinders: []int{mate}, Misses: its.Misses, All: theirs.Misses})
}

// dips compare the idle in gear with that in Park where a car has no counts.
func (e *Evidence) dips(put func(string, []float64, Telling)) {
	c := contrast{phi: 1, strata: []stratum{{e.Dips[0], e.Dips[1]}}}
	put("dip_step", c.weights(2), Telling{Kind: DipsDiffer, ToRate: c.strata[0].to.rate() * dipsOf / 1000,
		FromRate: c.strata[0].from.rate() * dipsOf / 1000})
}

// frame is what the freeze frame of a misfire code adds. What any healthy car shows at some time of a drive, a warm
// engine or a plain idle, weighs nothing.
func (e *Evidence) frame(put func(string, []float64, Telling)) {
	const heavy = 60.0 // percent
	f := e.Codes.Frame
	if f == nil {
		return
	}
	if f.Load >= heavy {
		put("frame_load", []float64{0, 1}, Telling{Kind: StoredUnder, RPM: f.RPM, Load: f.Load})
	}
	if f.Coolant < track.WarmAt {
		put("frame_heat", []float64{1, 0}, Telling{Kind: StoredAt, Celsius: f.Coolant})
	}
}
