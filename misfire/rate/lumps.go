package rate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Part is the firings that one window has in one condition.
type Part struct {
	Condition int // index, 0 and up
	Firings   float64
}

// Lumps gathers windows whose misses came in one lump over one or more
// conditions, and shares them out by maximum likelihood ([Lumps.Fit]). The zero
// value is ready.
//
// Windows of one condition only are summed as they come; mixed ones are kept,
// those of an identical mix as one, so memory grows with the kinds of mixed
// windows only.
type Lumps struct {
	pure  []Count // by condition
	mixed []window
	seen  map[string]int // mixed windows by the proportions of their mix
	last  []float64      // the rates last found, where the next fit starts
}

// window is a lump over several conditions; parts are in order of condition.
type window struct {
	misses float64
	parts  []Part
}

// Apart is how one condition's share of the lumps came out.
type Apart struct {
	// Rate has the most likely share of the misses, the condition's firings, and
	// the profile likelihood's limits (Venzon and Moolgavkar 1988), its fall
	// taken times phi.
	Rate Estimate

	// Mixed is the share of the firings that lie in mixed windows, 0 to 1: the
	// more, the more of Rate is estimated rather than counted.
	Mixed float64

	// With lists the other conditions that this one cannot be told apart from
	// yet, because they always ran together in much the same mix. Rate is then
	// that of all of them together, and not this condition's own.
	With []int
}

// Add takes one window. Parts of the same condition are added up; parts
// without firings or with a negative condition are left out, and so is a window
// of which none remains.
func (l *Lumps) Add(misses float64, parts ...Part) {
	w := window{misses: count(misses), parts: tidy(parts)}
	switch len(w.parts) {
	case 0:
		return
	case 1:
		c := w.parts[0].Condition
		l.grow(c + 1)
		l.pure[c] = l.pure[c].plus(Count{w.misses, w.parts[0].Firings})
		return
	}
	l.grow(w.parts[len(w.parts)-1].Condition + 1)
	key := w.mix()
	if l.seen == nil {
		l.seen = map[string]int{}
	}
	at, known := l.seen[key]
	if !known {
		l.seen[key] = len(l.mixed)
		l.mixed = append(l.mixed, w)
		return
	}
	old := &l.mixed[at]
	old.misses += w.misses
	for i := range old.parts {
		old.parts[i].Firings += w.parts[i].Firings
	}
}

// Fit shares the lumps out: each window's misses are Poisson with mean sum of
// firings x rate over its conditions, and the rates, constant within a
// condition, are those that make what was counted most likely. Sharing by
// firings alone would pull the rates together and hide what is looked for.
//
// The answer is in order of condition; one that never ran has Rate unknown. phi
// (from unmixed running) widens the limits. Windows in which conditions ran in
// one and the same mix say nothing about which of them missed; see [Apart.With].
//
// It starts from EM steps (Dempster, Laird and Rubin 1977) and finishes by
// Newton's, which reach a rate of zero where EM only crawls towards it. A later
// Fit of the same Lumps starts from the rates found last.
func (l *Lumps) Fit(phi float64) []Apart {
	phi = atLeastOne(phi)
	return l.fit(phi, func(p *problem, best []float64, top float64, g int, _ float64) (low, high float64) {
		return p.limits(best, top, g, phi)
	})
}

// Share is [Lumps.Fit] over so many conditions that limits by likelihood would take long: those of the misses that each is
// given, with the ones that are shared out counted twice in their variance.
func (l *Lumps) Share() []Apart {
	return l.fit(1, func(_ *problem, best []float64, _ float64, g int, mixed float64) (low, high float64) {
		return burstLimits(best[g], (1+mixed)*best[g], 1)
	})
}

// limiter gives the limits of a group's misses, of which a share lies in mixed windows.
type limiter func(p *problem, best []float64, top float64, g int, mixed float64) (low, high float64)

func (l *Lumps) fit(phi float64, limits limiter) []Apart {
	firings, mixed := l.exposure()
	groups := l.groups(firings)
	p := l.problem(groups)
	best := l.start(groups, p)
	top := p.maximise(best, -1, 1e-15)
	l.last = make([]float64, len(l.pure))

	answer := make([]Apart, len(l.pure))
	for c := range answer {
		answer[c].Rate = estimate(0, 0, phi)
	}
	for g, members := range groups {
		low, high := limits(p, best, top, g, mixed[members[0]]/firings[members[0]])
		r := best[g] / p.firings[g]
		for _, c := range members {
			e := estimate(r*firings[c], firings[c], phi)
			e.Low = perThousand * math.Min(1, low/p.firings[g])
			e.High = perThousand * math.Min(1, high/p.firings[g])
			answer[c] = Apart{Rate: e, Mixed: mixed[c] / firings[c], With: others(members, c)}
			l.last[c] = r
		}
	}
	return answer
}

func (l *Lumps) grow(n int) {
	for len(l.pure) < n {
		l.pure = append(l.pure, Count{})
	}
}

// tidy orders the parts by condition and merges those of one condition.
func tidy(parts []Part) []Part {
	kept := make([]Part, 0, len(parts))
	for _, p := range parts {
		p.Firings = count(p.Firings)
		if p.Firings > 0 && p.Condition >= 0 {
			kept = append(kept, p)
		}
	}
	slices.SortFunc(kept, func(a, b Part) int { return a.Condition - b.Condition })
	merged := kept[:0]
	for _, p := range kept {
		if n := len(merged); n > 0 && merged[n-1].Condition == p.Condition {
			merged[n-1].Firings += p.Firings
			continue
		}
		merged = append(merged, p)
	}
	return merged
}

// mix names the proportions of a window. Two windows of one mix say as much as
// one of their sums, whatever the rates.
func (w window) mix() string {
	var total float64
	for _, p := range w.parts {
		total += p.Firings
	}
	key := make([]byte, 0, 16*len(w.parts))
	for _, p := range w.parts {
		key = appendUint(key, uint64(p.Condition))
		// Nine digits: closer mixes are one for every purpose.
		key = appendUint(key, uint64(math.Round(p.Firings/total*1e9)))
	}
	return string(key)
}

func appendUint(b []byte, v uint64) []byte {
	for range 8 {
		b = append(b, byte(v))
		v >>= 8
	}
	return b
}

// exposure is each condition's firings, and those of them in mixed windows.
func (l *Lumps) exposure() (firings, mixed []float64) {
	firings, mixed = make([]float64, len(l.pure)), make([]float64, len(l.pure))
	for _, w := range l.mixed {
		for _, p := range w.parts {
			mixed[p.Condition] += p.Firings
		}
	}
	for c := range firings {
		firings[c] = l.pure[c].Firings + mixed[c]
	}
	return firings, mixed
}

// groups are the conditions that ran, each alone or with those it cannot be
// told apart from. Merging two may leave a group still too like a third, so it
// goes on until no more merge.
func (l *Lumps) groups(firings []float64) [][]int {
	var groups [][]int
	for c, n := range firings {
		if n > 0 {
			groups = append(groups, []int{c})
		}
	}
	for {
		merged := mergeAlike(groups, l.problem(groups))
		if len(merged) == len(groups) {
			return groups
		}
		groups = merged
	}
}

// alike is the reciprocal condition number under which the windows say too
// little about a direction; blurred is how much of a condition may lie in such
// directions.
const (
	alike   = 1e-3
	blurred = 0.05
)

// mergeAlike joins groups that the windows' firings, columns scaled to one
// length, hardly tell apart: those with a common part in the directions that
// the windows nearly ignore.
func mergeAlike(groups [][]int, p *problem) [][]int {
	k := len(groups)
	if k < 2 {
		return groups
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(p.gram(), true) {
		return groups
	}
	values := eigen.Values(nil) // rising
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	joined := make([]int, k)
	for i := range joined {
		joined[i] = i
	}
	for i := range k {
		for j := range i {
			var common float64
			for v, value := range values {
				if value < alike*alike*values[k-1] {
					common += vectors.At(i, v) * vectors.At(j, v)
				}
			}
			if math.Abs(common) > blurred {
				rename(joined, joined[i], joined[j])
			}
		}
	}
	var merged [][]int
	for i := range k {
		var members []int
		for j := range k {
			if joined[j] == i {
				members = append(members, groups[j]...)
			}
		}
		if members != nil {
			slices.Sort(members)
			merged = append(merged, members)
		}
	}
	return merged
}

func rename(names []int, from, to int) {
	for i := range names {
		if names[i] == from {
			names[i] = to
		}
	}
}

func others(members []int, c int) []int {
	var with []int
	for _, m := range members {
		if m != c {
			with = append(with, m)
		}
	}
	return with
}

// start is where to begin: the rates last found, or equal rates.
func (l *Lumps) start(groups [][]int, p *problem) []float64 {
	start := make([]float64, len(groups))
	for g, members := range groups {
		r := p.misses / p.allFirings
		if c := members[0]; c < len(l.last) && l.last[c] > 0 {
			r = l.last[c]
		}
		start[g] = r * p.firings[g]
	}
	return start
}
