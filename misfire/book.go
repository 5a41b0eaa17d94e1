package misfire

import (
	"math"
	"slices"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// book adds windows up by condition and by gear state. Its memory grows with the conditions seen, not with
// time.
type book struct {
	fine  level // by condition
	gears level // by gear state
	lever level // by whether a gear is in: see leverGroup

	total   [engine.MaxCylinders]sum
	unknown Unknown // windows whose running or gear is not known
	whole   wholeEngine
}

// sum is what was seen of one cylinder, whatever the condition.
type sum struct {
	misses, firings float64
	atLeast         bool // the counter reached its end: there may have been more
}

// level tallies by one way of telling running apart: group maps a condition to its cell.
type level struct {
	group   func(conditionIndex) int
	cells   []*cell                        // by group; nil until seen
	mixed   [engine.MaxCylinders][]mixture // by cylinder: its windows with misses that span several groups
	windows int                            // that ran at all
	parts   []part                         // scratch of addMixed
}

// cell is one group of conditions, with every cylinder's misses from windows that lie within it.
type cell struct {
	cylinders [engine.MaxCylinders]tally
	seconds   float64
	firings   float64 // of one cylinder, in all windows
	work      work
}

// tally is one cylinder in one cell.
type tally struct {
	misses, firings float64 // of unmixed windows: what decides
	clear           float64 // firings in mixed windows without a miss: none in the whole is none in each part
	mixed           float64 // firings in mixed windows with misses: their share is an estimate
	atLeast         bool
	bursts          rate.Dispersion
	worse           *rate.Worsening
	alarm           float64 // seconds at which the rate was found to have risen; NaN when not
}

// mixture is windows that span several groups in like proportion, put together: the sum of Poisson counts is
// Poisson too, so nothing but a little sharpness is lost.
type mixture struct {
	groups  []int
	firings []float64 // by place in groups
	misses  float64
}

const (
	// unmixedShare is the part of a window's firings that must lie in one group for it to count as unmixed.
	unmixedShare = 0.995
	// likeMix is how far the shares of two mixtures may lie apart to be put together.
	likeMix = 0.1
	// mostMixtures bounds the mixtures kept apart for one cylinder.
	mostMixtures = 64
)

func newBook() *book {
	return &book{
		fine:  level{group: func(c conditionIndex) int { return int(c) }, cells: make([]*cell, conditions)},
		gears: level{group: func(c conditionIndex) int { return int(c.condition().Gear) }, cells: make([]*cell, gearStates)},
		lever: level{group: leverGroup, cells: make([]*cell, leverGroups)},
		whole: newWholeEngine(),
	}
}

// Groups of the lever level: the one question that every complaint of this kind asks is whether the engine
// misses more with a gear in, at rest or on the move.
const (
	leverUnknown = iota
	leverNeutral
	leverInGear
	leverGroups
)

func leverGroup(c conditionIndex) int {
	switch c.condition().Gear {
	case gear.Unknown:
		return leverUnknown
	case gear.ParkNeutral:
		return leverNeutral
	}
	return leverInGear
}

// clone is a copy that can be added to without touching the book.
func (b *book) clone() *book {
	c := newBook()
	c.total, c.unknown, c.whole = b.total, b.unknown, b.whole
	b.fine.copyTo(&c.fine)
	b.gears.copyTo(&c.gears)
	b.lever.copyTo(&c.lever)
	return c
}

func (l *level) copyTo(dst *level) {
	dst.windows = l.windows
	for g, c := range l.cells {
		if c != nil {
			copied := *c
			for i := range copied.cylinders {
				if w := copied.cylinders[i].worse; w != nil {
					own := *w
					copied.cylinders[i].worse = &own
				}
			}
			dst.cells[g] = &copied
		}
	}
	for i := range l.mixed {
		for _, m := range l.mixed[i] {
			m.groups, m.firings = slices.Clone(m.groups), slices.Clone(m.firings)
			dst.mixed[i] = append(dst.mixed[i], m)
		}
	}
}

// add enters one window.
func (b *book) add(w *window) {
	b.whole.add(w)
	if w.broken {
		b.unknown.Running += seconds(w.to.sec - w.from.sec)
		for i, x := range w.misses {
			if w.valid[i] {
				b.unknown.Misses += x
			}
		}
		return
	}
	firings := 0.0
	for _, s := range w.running {
		firings += s.firings
		if s.condition.condition().Gear == gear.Unknown {
			b.unknown.Running += seconds(s.seconds)
		}
	}
	for i := range b.total {
		if w.valid[i] {
			b.total[i].misses += float64(w.misses[i])
			b.total[i].firings += firings
			b.total[i].atLeast = b.total[i].atLeast || w.full[i]
		}
	}
	b.fine.add(w, firings)
	b.gears.add(w, firings)
	b.lever.add(w, firings)
}

// add enters a window at this level: in its cell when it lies within one, else as a mixture.
func (l *level) add(w *window, firings float64) {
	if firings <= 0 {
		return
	}
	l.windows++
	main, most := 0, 0.0
	for _, s := range w.running {
		g := l.group(s.condition)
		c := l.cell(g)
		c.seconds += s.seconds
		c.firings += s.firings
		c.work = c.work.plus(s.work)
		if f := l.firingsOf(w, g); f > most {
			main, most = g, f
		}
	}
	if most >= unmixedShare*firings {
		l.cells[main].add(w, firings)
		return
	}
	l.addMixed(w)
}

func (l *level) cell(group int) *cell {
	if l.cells[group] == nil {
		c := &cell{}
		for i := range c.cylinders {
			c.cylinders[i].alarm = math.NaN()
		}
		l.cells[group] = c
	}
	return l.cells[group]
}

// firingsOf is a window's firings in one group.
func (l *level) firingsOf(w *window, group int) float64 {
	sum := 0.0
	for _, s := range w.running {
		if l.group(s.condition) == group {
			sum += s.firings
		}
	}
	return sum
}

func (c *cell) add(w *window, firings float64) {
	for i := range c.cylinders {
		if !w.valid[i] {
			continue
		}
		t, x := &c.cylinders[i], float64(w.misses[i])
		t.misses += x
		t.firings += firings
		t.atLeast = t.atLeast || w.full[i]
		t.bursts.Add(x, firings)
		if t.worse == nil {
			t.worse = rate.NewWorsening(worseningHeight)
		}
		if t.worse.Add(x, firings) && math.IsNaN(t.alarm) {
			t.alarm = w.to.sec
		}
	}
}

// addMixed enters a window that spans several groups, cylinder by cylinder.
func (l *level) addMixed(w *window) {
	l.parts = l.parts[:0]
	for _, s := range w.running {
		l.addPart(l.group(s.condition), s.firings)
	}
	for i, x := range w.misses {
		if !w.valid[i] {
			continue
		}
		for _, p := range l.parts {
			if t := &l.cells[p.group].cylinders[i]; x == 0 {
				t.clear += p.firings
			} else {
				t.mixed += p.firings
			}
		}
		if x > 0 {
			l.mixed[i] = mix(l.mixed[i], l.parts, float64(x))
		}
	}
}

// part is a window's firings in one group.
type part struct {
	group   int
	firings float64
}

// addPart keeps the parts in order of group.
func (l *level) addPart(group int, firings float64) {
	i, found := slices.BinarySearchFunc(l.parts, group, func(p part, g int) int { return p.group - g })
	if !found {
		l.parts = slices.Insert(l.parts, i, part{group: group})
	}
	l.parts[i].firings += firings
}

// mix puts a window with misses to the mixture it is like, or begins one. With too many kinds it joins the
// last one, which then spans its groups too.
func mix(mixtures []mixture, parts []part, misses float64) []mixture {
	for i := range mixtures {
		if mixtures[i].alike(parts) {
			mixtures[i].add(parts, misses)
			return mixtures
		}
	}
	if len(mixtures) < mostMixtures {
		mixtures = append(mixtures, mixture{})
	}
	mixtures[len(mixtures)-1].add(parts, misses)
	return mixtures
}

// alike reports whether a window spans the mixture's groups in like proportion.
func (m *mixture) alike(parts []part) bool {
	if len(m.groups) != len(parts) {
		return false
	}
	var all, mine float64
	for k, p := range parts {
		if m.groups[k] != p.group {
			return false
		}
		all += m.firings[k]
		mine += p.firings
	}
	for k, p := range parts {
		if math.Abs(m.firings[k]/all-p.firings/mine) > likeMix {
			return false
		}
	}
	return true
}

func (m *mixture) add(parts []part, misses float64) {
	m.misses += misses
	for _, p := range parts {
		i, found := slices.BinarySearch(m.groups, p.group)
		if !found {
			m.groups = slices.Insert(m.groups, i, p.group)
			m.firings = slices.Insert(m.firings, i, 0)
		}
		m.firings[i] += p.firings
	}
}
