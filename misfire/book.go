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
	group func(conditionIndex) int
	cells []*cell // by group; nil until seen
	mixed []mixture
	grid  int // groups there are
}

// cell is one group of conditions, with every cylinder's misses from windows that lie within it.
type cell struct {
	cylinders [engine.MaxCylinders]tally
	seconds   float64
}

// tally is one cylinder in one cell.
type tally struct {
	misses, firings float64 // of unmixed windows
	mixed           float64 // firings in mixed windows
	atLeast         bool
	bursts          rate.Dispersion
	worse           *rate.Worsening
	alarm           float64 // seconds at which the rate was found to have risen; NaN when not
}

// mixture is windows that span several groups in like proportion, put together: the sum of Poisson counts is
// Poisson too, so nothing but a little sharpness is lost.
type mixture struct {
	groups  []int
	firings []float64 // by place in groups, of a cylinder followed throughout
	misses  [engine.MaxCylinders]float64
	valid   [engine.MaxCylinders]bool
}

const (
	// unmixedShare is the part of a window's firings that must lie in one group for it to count as unmixed.
	unmixedShare = 0.995
	// likeMix is how far the shares of two mixtures may lie apart to be put together.
	likeMix = 0.1
	// mostMixtures bounds the mixtures kept apart at one level.
	mostMixtures = 256
)

func newBook() *book {
	return &book{
		fine:  level{group: func(c conditionIndex) int { return int(c) }, grid: conditions, cells: make([]*cell, conditions)},
		gears: level{group: func(c conditionIndex) int { return int(c.condition().Gear) }, grid: gearStates, cells: make([]*cell, gearStates)},
		whole: newWholeEngine(),
	}
}

// clone is a copy that can be added to without touching the book.
func (b *book) clone() *book {
	c := newBook()
	c.total, c.unknown, c.whole = b.total, b.unknown, b.whole
	b.fine.copyTo(&c.fine)
	b.gears.copyTo(&c.gears)
	return c
}

func (l *level) copyTo(dst *level) {
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
	for _, m := range l.mixed {
		m.groups, m.firings = slices.Clone(m.groups), slices.Clone(m.firings)
		dst.mixed = append(dst.mixed, m)
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
}

// add enters a window at this level: in its cell when it lies within one, else as a mixture.
func (l *level) add(w *window, firings float64) {
	if firings <= 0 {
		return
	}
	main, most := 0, 0.0
	for _, s := range w.running {
		g := l.group(s.condition)
		c := l.cell(g)
		c.seconds += s.seconds
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

// addMixed enters a window that spans several groups.
func (l *level) addMixed(w *window) {
	m := l.likeMixture(w)
	for k, g := range m.groups {
		f := l.firingsOf(w, g)
		m.firings[k] += f
		for i := range m.misses {
			if w.valid[i] {
				l.cells[g].cylinders[i].mixed += f
			}
		}
	}
	for i := range m.misses {
		m.valid[i] = m.valid[i] && w.valid[i]
		m.misses[i] += float64(w.misses[i])
	}
}

// likeMixture finds the mixture that the window may join, or begins one.
func (l *level) likeMixture(w *window) *mixture {
	groups := make([]int, 0, 8)
	for _, s := range w.running {
		if g := l.group(s.condition); !slices.Contains(groups, g) {
			groups = append(groups, g)
		}
	}
	slices.Sort(groups)
	full := len(l.mixed) >= mostMixtures
	for i := range l.mixed {
		m := &l.mixed[i]
		if m.valid == w.valid && slices.Equal(m.groups, groups) && (full || l.alike(m, w)) {
			return m
		}
	}
	if full {
		return l.widen(&l.mixed[len(l.mixed)-1], groups)
	}
	l.mixed = append(l.mixed, mixture{groups: groups, firings: make([]float64, len(groups)), valid: w.valid})
	return &l.mixed[len(l.mixed)-1]
}

// alike reports whether a window's shares are close to those of a mixture.
func (l *level) alike(m *mixture, w *window) bool {
	var all, mine float64
	for _, f := range m.firings {
		all += f
	}
	for _, s := range w.running {
		mine += s.firings
	}
	for k, g := range m.groups {
		if math.Abs(m.firings[k]/all-l.firingsOf(w, g)/mine) > likeMix {
			return false
		}
	}
	return true
}

// widen makes a mixture span more groups: the last resort when there are too many of them.
func (l *level) widen(m *mixture, groups []int) *mixture {
	for _, g := range groups {
		if !slices.Contains(m.groups, g) {
			m.groups = append(m.groups, g)
			m.firings = append(m.firings, 0)
		}
	}
	return m
}
