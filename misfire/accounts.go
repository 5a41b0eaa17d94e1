package misfire

import (
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// accounts adds windows up by condition and by gear state. Its memory grows with the conditions seen, not with
// time.
type accounts struct {
	fine  breakdown // by condition
	gears breakdown // by gear state
	lever breakdown // by whether a gear is in: see leverGroup

	load breakdown // on the move by load band, everything else together

	total   [engine.MaxCylinders]sum
	unknown Unknown // windows whose running or gear is not known
	whole   wholeEngine

	cylinders int                               // that are counted
	ceiling   float64                           // misses per firing up to which a cylinder counts as healthy
	in        gear.State                        // now
	spells    int                               // stretches of one gear state that have ended
	origins   [gearStates][gear.Origins]float64 // seconds of running by gear state and who said so
}

// sum is what was seen of one cylinder, whatever the condition.
type sum struct {
	misses, firings float64
	atLeast         bool // the counter reached its end: there may have been more
	standstill      standstill

	ladder rate.Ladder // of all its windows
	awake  rate.Ladder // as it was when the counter last rose
	hushed float64     // firings since then
	charge charge
	when   when
	judged rate.Count // as it was when charge and when were last brought up to date
}

// due reports whether enough is new to bring the judgement of a cylinder up to date: one miss of a few, one in twenty
// of many, or a tenth more running.
func (s *sum) due() bool {
	const news, running = 1.05, 1.1
	if s.misses == 0 || s.misses < s.judged.Misses*news && s.firings < s.judged.Firings*running {
		return false
	}
	s.judged = rate.Count{Misses: s.misses, Firings: s.firings}
	return true
}

func newAccounts() *accounts {
	return &accounts{
		ceiling: rate.Ceiling / 1000,
		fine:    breakdown{group: func(c conditionIndex) int { return int(c) }, cells: make([]*cell, conditions), trends: true},
		gears:   breakdown{group: func(c conditionIndex) int { return int(c.condition().Gear) }, cells: make([]*cell, gearStates), whole: true},
		lever:   breakdown{group: leverGroup, cells: make([]*cell, leverGroups), whole: true},
		load:    breakdown{group: loadGroup, cells: make([]*cell, loadGroups), whole: true},
		whole:   newWholeEngine(),
	}
}

// Groups of the lever breakdown: the one question that every complaint of this kind asks is whether the engine
// misses more with a gear in, at rest or on the move.
const (
	leverUnknown = iota
	leverNeutral
	leverInGear
	leverGroups
)

// Groups of the load breakdown.
const (
	loadElsewhere = LoadBands / loadStep
	loadGroups    = LoadBands/loadStep + 1
	loadStep      = 2 // bands that are asked about together
)

func loadGroup(c conditionIndex) int {
	if at := c.condition(); at.Gear == gear.Moving {
		return int(at.Load) / loadStep
	}
	return loadElsewhere
}

func leverGroup(c conditionIndex) int {
	switch c.condition().Gear {
	case gear.Unknown:
		return leverUnknown
	case gear.ParkNeutral:
		return leverNeutral
	}
	return leverInGear
}

// breakdowns are all ways of telling running apart.
func (b *accounts) breakdowns() [4]*breakdown {
	return [...]*breakdown{&b.fine, &b.gears, &b.lever, &b.load}
}

// clone is a copy that can be added to without touching the accounts.
func (b *accounts) clone() *accounts {
	c := newAccounts()
	c.total, c.unknown, c.whole, c.origins = b.total, b.unknown, b.whole, b.origins
	c.cylinders, c.ceiling, c.spells = b.cylinders, b.ceiling, b.spells
	c.in = b.in
	for i := range c.total {
		c.total[i].ladder, c.total[i].awake = b.total[i].ladder.Clone(), b.total[i].awake.Clone()
	}
	for i, l := range b.breakdowns() {
		l.copyTo(c.breakdowns()[i])
	}
	return c
}

// origin is who said it for most of the running in a gear state.
func (b *accounts) origin(s gear.State) gear.Origin {
	best := gear.None
	for o, sec := range b.origins[s] {
		if sec > b.origins[s][best] {
			best = gear.Origin(o)
		}
	}
	return best
}

// add enters one window.
func (b *accounts) add(w *window) {
	b.whole.add(w)
	if w.broken {
		b.unknown.Running += seconds(w.known)
		b.unknown.Misses += w.all()
		return
	}
	firings := 0.0
	for _, s := range w.running {
		firings += s.firings
		if s.condition.condition().Gear == gear.Unknown {
			b.unknown.Running += seconds(s.seconds)
		}
	}
	if firings == 0 || w.nowhere() {
		b.unknown.Misses += w.all()
	}
	for i := range b.total {
		if w.valid[i] {
			b.addCylinder(w, i, firings)
		}
	}
	for _, l := range b.breakdowns() {
		l.add(w, firings)
	}
	for i := range w.misses {
		if w.valid[i] && b.total[i].due() {
			b.weigh(i)
			b.askWhen(i)
		}
	}
}

func (b *accounts) addCylinder(w *window, i int, firings float64) {
	s := &b.total[i]
	if w.misses[i] > 0 {
		b.endStandstill(i)
		s.standstill.broken()
	} else {
		b.lengthen(&s.standstill, w, i)
	}
	s.misses += float64(w.misses[i])
	s.firings += firings
	if w.misses[i] == 0 && s.hushed == 0 {
		s.ladder.CopyTo(&s.awake)
	}
	s.hushed += firings
	if w.misses[i] > 0 {
		s.hushed = 0
	}
	s.ladder.Add(float64(w.misses[i]), firings)
	s.atLeast = s.atLeast || w.full[i]
}

// all is the misses of all cylinders that were followed.
func (w *window) all() int {
	sum := 0
	for i, x := range w.misses {
		if w.valid[i] {
			sum += x
		}
	}
	return sum
}

// nowhere reports whether all of a window ran in an unknown gear.
func (w *window) nowhere() bool {
	for _, s := range w.running {
		if s.condition.condition().Gear != gear.Unknown {
			return false
		}
	}
	return true
}
