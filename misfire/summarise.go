package misfire

import (
	"math"
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// Summary works out all that the drive has told so far. It leaves the tally as it was.
func (t *Tally) Summary() *Summary {
	book := t.provisionalBook()
	s := t.glance(book)
	s.Cells = t.cells(book, &book.fine, s.Engine.Cylinders, func(g int) Condition { return conditionIndex(g).condition() })
	return s
}

// Glance is the Summary without its Cells, for a screen that is drawn several times a second: sharing lumps
// out over dozens of conditions takes a thousand times as long as the rest.
func (t *Tally) Glance() *Summary { return t.glance(t.provisionalBook()) }

func (t *Tally) glance(book *book) *Summary {
	s := &Summary{
		Start:       t.start,
		Now:         t.last,
		Running:     seconds(t.running),
		Engine:      t.layout(),
		Map:         t.cfg.Map,
		Refresh:     t.cadence.finding(),
		Unknown:     book.unknown,
		Unmonitored: seconds(t.unjudged),
		Cycles:      t.exposure.starts,
		Whole:       Whole{Catalyst: book.whole.catalyst.block, Emission: book.whole.emission.block},
	}
	s.Unknown.Running += seconds(t.holes)
	s.Live = t.live(s.Engine.Cylinders)
	s.Total = t.totals(book, s.Engine.Cylinders)
	s.ByGear = t.cells(book, &book.gears, s.Engine.Cylinders, func(g int) Condition { return Condition{Gear: gear.State(g)} })
	for i := range s.Engine.Cylinders {
		if a := &t.averages[i]; a.known() {
			s.Averages = append(s.Averages, Average{Cylinder: i + 1, Value: a.now})
		}
	}
	if !t.counts() {
		s.Idle = t.idleDips()
	}
	s.Verdict = t.verdict(book, s)
	s.Notes = t.notes(s)
	return s
}

// idleDips is what the idle shows in each gear state it was seen in.
func (t *Tally) idleDips() []IdleDips {
	var all []IdleDips
	for _, g := range gearOrder {
		d := IdleDips{Gear: g}
		d.Dips, d.Minutes, d.Low, d.High = t.idle.PerMinute(g)
		if d.Minutes > 0 {
			all = append(all, d)
		}
	}
	return all
}

// provisionalBook is the book, with what the ledger still holds cut by the likeliest cadence.
func (t *Tally) provisionalBook() *book {
	if !t.ledger.holding {
		return t.book
	}
	b := t.book.clone()
	t.ledger.provisional(t.cadence.guess(), b.add)
	return b
}

// layout is the engine told, or as many cylinders as report a counter.
func (t *Tally) layout() engine.Layout {
	if t.cfg.Engine.Cylinders > 0 {
		return t.cfg.Engine
	}
	n := 0
	for i := range t.lanes {
		if t.lanes[i].reported {
			n = i + 1
		}
	}
	if n == 0 {
		return engine.Layout{}
	}
	layout, err := engine.Plain(n)
	if err != nil {
		return engine.Layout{}
	}
	return layout
}

func (t *Tally) live(cylinders int) Live {
	e := &t.exposure
	l := Live{RPM: e.rpm.value, Load: e.load.value, Speed: e.speed.value, Throttle: e.throttle.value,
		Coolant: e.coolant.value, Gear: t.judge.Call(), Running: e.running, MIL: t.lamp.state()}
	l.Condition = Condition{Gear: l.Gear.State, Load: e.loadAt, RPM: e.rpmAt, Warm: e.warm()}
	for i := range cylinders {
		age := time.Duration(-1)
		if t.lanes[i].reported {
			age = max(t.last.Sub(t.heard[i]), 0)
		}
		l.CountAge = append(l.CountAge, age)
	}
	return l
}

// totals is one cell a cylinder, whatever the condition.
func (t *Tally) totals(b *book, cylinders int) []Cell {
	cells := make([]Cell, 0, cylinders)
	for i := range cylinders {
		sum := &b.total[i]
		_, judged := b.gears.dispersion(i, sum.silence.still)
		c := Cell{Cylinder: i + 1, Reported: t.lanes[i].reported, Apart: true, Judged: judged,
			Running: seconds(t.running), RPM: math.NaN(), Load: math.NaN(), Still: sum.silence.still}
		count := b.all(i)
		c.Estimate = estimate(count.Misses, count.Firings, b.dispersion(&b.fine, i), sum.atLeast)
		c.Worsening, c.Since = t.worsened(b, i, func(Condition) bool { return true })
		cells = append(cells, c)
	}
	return cells
}

// all is all misses and firings of one cylinder, whatever the condition.
func (b *book) all(cylinder int) rate.Count {
	s := &b.total[cylinder]
	c := rate.Count{Misses: s.misses, Firings: s.firings}
	if s.silence.still {
		c.Firings -= b.fine.quiet(cylinder)
	}
	return c
}

// cells is every cell of a level: the groups seen, and within each the cylinders in order.
func (t *Tally) cells(b *book, l *level, cylinders int, condition func(int) Condition) []Cell {
	var cells []Cell
	shared := make([][]rate.Apart, cylinders)
	for i := range shared {
		shared[i] = l.apportion(i, b.dispersion(l, i), b.total[i].silence.still)
	}
	for g, seen := range l.cells {
		if seen == nil || condition(g).Gear == gear.Unknown {
			continue
		}
		for i := range cylinders {
			c := t.cell(b, l, seen, i, condition(g))
			if tl := seen.at(i); tl.mixed > 0 && shared[i] != nil {
				part := &shared[i][g]
				c.Estimate, c.Apart = part.Rate, len(part.With) == 0
				if c.AtLeast = tl.atLeast; c.AtLeast {
					c.High = math.Inf(1)
				}
			}
			cells = append(cells, c)
		}
	}
	return cells
}

// cell is one cylinder's cell as its unmixed windows have it.
func (t *Tally) cell(b *book, l *level, seen *cell, i int, condition Condition) Cell {
	tl := seen.at(i).seen(b.total[i].silence.still)
	c := Cell{
		Cylinder:  i + 1,
		Condition: condition,
		Origin:    t.origin(condition.Gear),
		Reported:  t.lanes[i].reported,
		Apart:     true,
		Running:   seconds(seen.seconds),
		RPM:       seen.work.rpm / (2 * seen.firings),
		Load:      seen.work.load / (2 * seen.firings),
		Decides:   tl.count(),
	}
	phi, judged := b.own(l, tl, i)
	c.Judged = judged
	c.Bursts = judged && tl.bursts.Chance() < 0.01
	c.Estimate = estimate(tl.misses, tl.firings+tl.clear, phi, tl.atLeast)
	if all := tl.firings + tl.clear + tl.mixed; all > 0 {
		c.Mixed = tl.mixed / all
	}
	like := func(o Condition) bool { return o == condition }
	if l == &b.gears {
		like = func(o Condition) bool { return o.Gear == condition.Gear }
	}
	c.Worsening, c.Since = t.worsened(b, i, like)
	return c
}

// worsened reports whether a cylinder's rate rose in any of some conditions, and when it first began to.
func (t *Tally) worsened(b *book, cylinder int, of func(Condition) bool) (worse bool, since time.Time) {
	first := b.worseSince(cylinder, of)
	if math.IsInf(first, 1) {
		return false, time.Time{}
	}
	return true, t.start.Add(seconds(first))
}

// worseSince is when, in seconds, the rate of a cylinder first began to rise in any of some conditions; +Inf
// when it did not.
func (b *book) worseSince(cylinder int, of func(Condition) bool) float64 {
	first := math.Inf(1)
	for g, t := range b.fine.of(cylinder) {
		if t.trend.since < first && of(conditionIndex(g).condition()) {
			first = t.trend.since
		}
	}
	return first
}

// origin is who said it for most of the running in a gear state.
func (t *Tally) origin(s gear.State) gear.Origin {
	best := gear.None
	for o, sec := range t.origins[s] {
		if sec > t.origins[s][best] {
			best = gear.Origin(o)
		}
	}
	return best
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
