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
	r := t.review()
	s := r.glance()
	s.Cells = r.cells(&r.fine, func(g int) Condition { return conditionIndex(g).condition() })
	return s
}

// Glance is the Summary without its Cells, for a screen that is drawn several times a second: sharing lumps
// out over dozens of conditions takes up to ten times as long as the rest.
func (t *Tally) Glance() *Summary { return t.review().glance() }

// review is accounts being read, with what many of its cells need worked out once.
type review struct {
	*accounts
	tally     *Tally
	layout    engine.Layout
	cylinders int

	piled [engine.MaxCylinders]rate.Bursts // how the misses of each cylinder pile up, in all of its running
}

func (t *Tally) review() *review {
	r := &review{accounts: t.provisional(), tally: t, layout: t.layout()}
	r.cylinders = r.layout.Cylinders
	for i := range r.cylinders {
		r.piled[i] = r.measured(i)
	}
	return r
}

// still reports whether a cylinder's counter stands still beyond chance.
func (r *review) still(cylinder int) bool { return r.total[cylinder].standstill.still }

func (r *review) glance() *Summary {
	t := r.tally
	s := &Summary{
		Start:       t.start,
		Now:         t.last,
		Running:     seconds(t.running),
		Engine:      r.layout,
		Map:         t.cfg.Map,
		Live:        t.live(r.cylinders),
		Refresh:     t.cadence.finding(),
		Total:       r.totals(),
		ByGear:      r.cells(&r.gears, func(g int) Condition { return Condition{Gear: gear.State(g)} }),
		Unknown:     r.unknown,
		Unmonitored: seconds(t.unjudged),
		Cycles:      t.exposure.starts,
		Unread:      t.unread,
		Whole:       Whole{Catalyst: r.whole.catalyst.block, Emission: r.whole.emission.block},
	}
	s.Unknown.Running += seconds(t.holes)
	for i := range r.cylinders {
		if a := &t.averages[i]; a.known() {
			s.Averages = append(s.Averages, Average{Cylinder: i + 1, Value: a.now})
		}
	}
	if !t.counts() {
		s.Idle = t.idleDips()
	}
	s.Verdict = r.verdict(s)
	s.Notes = t.notes(s)
	return s
}

// idleDips is what the idle shows in each gear state it was seen in.
func (t *Tally) idleDips() []IdleDips {
	var all []IdleDips
	for _, g := range gear.Known() {
		d := IdleDips{Gear: g}
		d.Dips, d.Minutes, d.Low, d.High = t.idle.PerMinute(g)
		if d.Minutes > 0 {
			all = append(all, d)
		}
	}
	return all
}

// provisional is the accounts by the gears as they are judged now, with what the ledger still holds cut by the likeliest
// cadence.
func (t *Tally) provisional() *accounts {
	current := t.relay.current()
	if !t.ledger.holding {
		return current
	}
	b := current.clone()
	t.ledger.provisional(t.cadence.forNow(), func(w *window) { t.relay.lay(w, b) })
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
	l := Live{RPM: e.RPM.V, Load: e.Load.V, Speed: e.Speed.V, Throttle: e.Throttle.V,
		Coolant: e.Coolant.V, Gear: t.judge.Call(), Running: e.Running, MIL: t.lamp.state()}
	l.Condition = Condition{Gear: l.Gear.State, Load: e.loadAt, RPM: e.rpmAt, Warm: e.Warm()}
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
func (r *review) totals() []Cell {
	cells := make([]Cell, r.cylinders)
	for i := range cells {
		c, count := &cells[i], r.all(i)
		*c = Cell{Cylinder: i + 1, Reported: r.tally.lanes[i].reported, Apart: true,
			Running: seconds(r.tally.running), RPM: math.NaN(), Load: math.NaN(), Still: r.still(i), Decides: count}
		b := r.piled[i]
		b.Misses, b.Firings = count.Misses, count.Firings
		c.set(r.sides(b, r.total[i].atLeast, r.piled[i]))
		c.Worsening, c.Since = r.worsened(i, func(Condition) bool { return true })
	}
	return cells
}

// all is all misses and firings of one cylinder, whatever the condition.
func (r *review) all(cylinder int) rate.Count {
	s := &r.total[cylinder]
	c := rate.Count{Misses: s.misses, Firings: s.firings}
	if r.still(cylinder) {
		c.Firings -= r.fine.quiet(cylinder)
	}
	return c
}

// cells is every cell of a breakdown: the groups seen, and within each the cylinders in order.
func (r *review) cells(l *breakdown, condition func(int) Condition) []Cell {
	var cells []Cell
	var shared [engine.MaxCylinders][]rate.Apart
	for i := range r.cylinders {
		shared[i] = l.apportion(i, r.still(i))
	}
	for g, seen := range l.cells {
		if seen == nil || condition(g).Gear == gear.Unknown {
			continue
		}
		for i := range r.cylinders {
			c := r.cell(l, seen, i, condition(g))
			if t := seen.at(i); t.mixed > 0 {
				c.share(&shared[i][g], t.atLeast, r.piled[i])
			}
			cells = append(cells, c)
		}
	}
	return cells
}

// share gives the cell what is estimated to be its part of mixed windows.
func (c *Cell) share(part *rate.Apart, atLeast bool, piled rate.Bursts) {
	c.set(rate.SharedBy(part.Rate, piled))
	c.Apart = len(part.With) == 0
	if c.AtLeast = atLeast; atLeast {
		c.High = math.Inf(1)
	}
}

// cell is one cylinder's cell as its unmixed windows have it.
func (r *review) cell(l *breakdown, seen *cell, i int, condition Condition) Cell {
	t := seen.at(i).seen(r.still(i))
	c := Cell{
		Cylinder:  i + 1,
		Condition: condition,
		Origin:    r.origin(condition.Gear),
		Reported:  r.tally.lanes[i].reported,
		Apart:     true,
		Running:   seconds(seen.seconds),
		RPM:       seen.work.rpm / (2 * seen.firings),
		Load:      seen.work.load / (2 * seen.firings),
		Decides:   t.count(),
	}
	c.set(r.limited(t, i))
	piled := about(&t.ladder, t.count())
	c.Windows, c.Guard, c.Uneven = t.ladder.Windows(), rate.Guard(piled), uneven(piled)
	if t.pauses != nil {
		pauses := *t.pauses
		c.Pauses = &pauses
	}
	if all := t.firings + t.clear + t.mixed; all > 0 {
		c.Mixed = t.mixed / all
	}
	like := func(o Condition) bool { return o == condition }
	if l == &r.gears {
		like = func(o Condition) bool { return o.Gear == condition.Gear }
	}
	c.Worsening, c.Since = r.worsened(i, like)
	return c
}

// uneven is how uneven misses are, over blocks of any length of which there are ten.
func uneven(b rate.Bursts) float64 {
	const blocks = 10
	most := 1.0
	for _, l := range b.Lengths {
		if l.Blocks >= blocks {
			most = math.Max(most, l.Phi)
		}
	}
	return most
}

// set takes a rate, and how far its limits know of bursts.
func (c *Cell) set(e rate.Estimate, sure rate.Sureness) {
	c.Estimate, c.Judged, c.Bursts = e, sure != rate.Unjudged, sure == rate.JudgedBursts
}

// worsened reports whether a cylinder's rate rose in any of some conditions, and when it first began to.
func (r *review) worsened(cylinder int, of func(Condition) bool) (worse bool, since time.Time) {
	first := r.worseSince(cylinder, of)
	if math.IsInf(first, 1) {
		return false, time.Time{}
	}
	return true, r.tally.start.Add(seconds(first))
}

// worseSince is when, in seconds, the rate of a cylinder first began to rise in any of some conditions; +Inf
// when it did not.
func (b *accounts) worseSince(cylinder int, of func(Condition) bool) float64 {
	first := math.Inf(1)
	for g, t := range b.fine.of(cylinder) {
		if t.trend.status == trendRisen && t.trend.since < first && of(conditionIndex(g).condition()) {
			first = t.trend.since
		}
	}
	return first
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
