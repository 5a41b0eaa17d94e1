package misfire

import (
	"iter"
	"slices"

	"stumble/misfire/engine"
	"stumble/misfire/rate"
)

// breakdown tallies by one way of telling running apart: group maps a condition to its cell.
type breakdown struct {
	group   func(conditionIndex) int
	trends  bool                           // its cells watch for worsening: only like condition may be compared
	cells   []*cell                        // by group; nil until seen
	mixed   [engine.MaxCylinders][]mixture // by cylinder: its windows with misses that span several groups
	whole   bool                           // windows that span several groups are kept one by one, too
	spanned [engine.MaxCylinders][]spanned
	windows int    // that ran at all
	parts   []part // scratch of addMixed
}

// cell is one group of conditions, with the misses of every cylinder that was followed in it.
type cell struct {
	cylinders [engine.MaxCylinders]*tally
	seconds   float64
	firings   float64 // of one cylinder, in all windows
	work      work
}

// tally is one cylinder in one cell. Windows that lie within the cell are unmixed: they alone decide.
type tally struct {
	misses, firings float64 // of unmixed windows
	clear           float64 // firings in mixed windows without a miss: none in the whole is none in each part
	mixed           float64 // firings in mixed windows with misses: their share is an estimate
	atLeast         bool
	ladder          rate.Ladder
	pauses          *rate.PauseTally // nil before the first miss
	lead            float64          // firings before it
	trend           *trend           // nil where none is watched for

	// Since the counter last rose, wherever that was: see standstill.
	quiet, quietClear float64     // of firings and of clear
	awake             rate.Ladder // as it was when the silence began here
}

// unmixedShare is the part of a window's firings that must lie in one group for it to count as unmixed.
const unmixedShare = 0.995

func newTally(trends bool) *tally {
	t := &tally{}
	if trends {
		t.trend = newTrend()
	}
	return t
}

// at is a cylinder's tally, empty when it was never followed here. It is for reading.
func (c *cell) at(cylinder int) *tally {
	if c == nil || c.cylinders[cylinder] == nil {
		return &tally{}
	}
	return c.cylinders[cylinder]
}

// of is a cylinder's tallies by group, where it was followed.
func (l *breakdown) of(cylinder int) iter.Seq2[int, *tally] {
	return func(yield func(int, *tally) bool) {
		for g, c := range l.cells {
			if c != nil && c.cylinders[cylinder] != nil && !yield(g, c.cylinders[cylinder]) {
				return
			}
		}
	}
}

func (l *breakdown) copyTo(dst *breakdown) {
	dst.windows = l.windows
	for g, c := range l.cells {
		if c != nil {
			dst.cells[g] = c.clone()
		}
	}
	for i := range l.mixed {
		for _, m := range l.mixed[i] {
			m.groups, m.firings = slices.Clone(m.groups), slices.Clone(m.firings)
			dst.mixed[i] = append(dst.mixed[i], m)
		}
		dst.spanned[i] = slices.Clone(l.spanned[i])
	}
}

func (c *cell) clone() *cell {
	copied := *c
	for i, t := range c.cylinders {
		if t == nil {
			continue
		}
		own := *t
		own.ladder, own.awake = t.ladder.Clone(), t.awake.Clone()
		if t.pauses != nil {
			pauses := *t.pauses
			own.pauses = &pauses
		}
		if t.trend != nil {
			own.trend = t.trend.clone()
		}
		copied.cylinders[i] = &own
	}
	return &copied
}

// add enters a window: in its cell when it lies within one, else as a mixture.
func (l *breakdown) add(w *window, firings float64) {
	if firings <= 0 {
		return
	}
	l.windows++
	l.parts = l.parts[:0]
	for _, s := range w.running {
		g := l.group(s.condition)
		l.addPart(g, s.firings)
		l.cell(g).run(s)
	}
	for _, p := range l.parts {
		if p.firings >= unmixedShare*firings {
			l.addUnmixed(w, p.group, firings)
			return
		}
	}
	l.addMixed(w)
}

// cell is the cell of a group, made when it is first seen.
func (l *breakdown) cell(group int) *cell {
	if l.cells[group] == nil {
		l.cells[group] = &cell{}
	}
	return l.cells[group]
}

func (c *cell) run(s share) {
	c.seconds += s.seconds
	c.firings += s.firings
	c.work = c.work.plus(s.work)
}

// tally is a cylinder's tally in a group, made when it is first followed there.
func (l *breakdown) tally(group, cylinder int) *tally {
	c := l.cell(group)
	if c.cylinders[cylinder] == nil {
		c.cylinders[cylinder] = newTally(l.trends)
	}
	return c.cylinders[cylinder]
}

// addUnmixed enters a window that lies in one group.
func (l *breakdown) addUnmixed(w *window, group int, firings float64) {
	for i, followed := range w.valid {
		if !followed {
			continue
		}
		t, x := l.tally(group, i), float64(w.misses[i])
		if x == 0 {
			t.hush(firings, 0)
		}
		t.misses += x
		t.firings += firings
		t.atLeast = t.atLeast || w.full[i]
		t.ladder.Add(x, firings)
		t.pause(x, firings)
		if t.trend != nil {
			t.trend.add(x, firings, w.from.sec, w.to.sec, w.cylinders())
		}
	}
}

// pause follows how long the cylinder ran between misses.
func (t *tally) pause(misses, firings float64) {
	if t.pauses == nil {
		if misses == 0 {
			t.lead += firings
			return
		}
		t.pauses = &rate.PauseTally{}
		t.pauses.Add(0, t.lead)
	}
	t.pauses.Add(misses, firings)
}

// addMixed enters a window that spans several groups, cylinder by cylinder.
func (l *breakdown) addMixed(w *window) {
	for i, x := range w.misses {
		if !w.valid[i] {
			continue
		}
		for _, p := range l.parts {
			t := l.tally(p.group, i)
			if x == 0 {
				t.clear += p.firings
				t.hush(0, p.firings)
				continue
			}
			t.mixed += p.firings
			t.atLeast = t.atLeast || w.full[i]
		}
		if l.whole {
			l.keepSpanned(i, float64(x))
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
func (l *breakdown) addPart(group int, firings float64) {
	i, found := slices.BinarySearchFunc(l.parts, group, func(p part, g int) int { return p.group - g })
	if !found {
		l.parts = slices.Insert(l.parts, i, part{group: group})
	}
	l.parts[i].firings += firings
}
