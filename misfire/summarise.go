package misfire

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

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
		if a := t.lanes[i].average; a.known() {
			s.Averages = append(s.Averages, Average{Cylinder: i + 1, Value: a.value})
		}
	}
	s.Verdict = t.verdict(book, s)
	s.Notes = t.notes(s)
	return s
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
	l.Condition = Condition{Gear: l.Gear.State, Load: e.loadAt, RPM: e.rpmAt, Warm: e.coolant.value >= WarmAt}
	now := t.seconds(t.last)
	for i := range cylinders {
		age := time.Duration(-1)
		if t.lanes[i].reported {
			age = max(seconds(now-t.lanes[i].read.sec), 0)
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
		_, judged := b.gears.dispersion(i)
		c := Cell{Cylinder: i + 1, Reported: t.lanes[i].reported, Apart: true, Judged: judged, Running: seconds(t.running), RPM: math.NaN(), Load: math.NaN()}
		c.Estimate = estimate(sum.misses, sum.firings, b.dispersion(&b.fine, i), sum.atLeast)
		cells = append(cells, c)
	}
	return cells
}

// cells is every cell of a level: the groups seen, and within each the cylinders in order.
func (t *Tally) cells(b *book, l *level, cylinders int, condition func(int) Condition) []Cell {
	var cells []Cell
	shared := make([][]rate.Apart, cylinders)
	for i := range shared {
		phi := b.dispersion(l, i)
		shared[i] = l.apportion(i, phi)
	}
	for g, seen := range l.cells {
		if seen == nil || condition(g).Gear == gear.Unknown {
			continue
		}
		for i := range cylinders {
			c := t.cell(b, l, seen, i, condition(g))
			if tl := &seen.cylinders[i]; tl.mixed > 0 && shared[i] != nil {
				part := &shared[i][g]
				c.Estimate, c.Apart = part.Rate, len(part.With) == 0
				c.AtLeast = tl.atLeast
			}
			cells = append(cells, c)
		}
	}
	return cells
}

// cell is one cylinder's cell as its unmixed windows have it.
func (t *Tally) cell(b *book, l *level, seen *cell, i int, condition Condition) Cell {
	tl := &seen.cylinders[i]
	c := Cell{
		Cylinder:  i + 1,
		Condition: condition,
		Origin:    t.origin(condition.Gear),
		Reported:  t.lanes[i].reported,
		Apart:     true,
		Running:   seconds(seen.seconds),
		RPM:       seen.work.rpm / (2 * seen.firings),
		Load:      seen.work.load / (2 * seen.firings),
		Decides:   rate.Count{Misses: tl.misses, Firings: tl.firings},
	}
	phi, judged := b.own(l, tl, i)
	c.Judged = judged
	c.Bursts = judged && tl.bursts.Chance() < 0.01
	c.Estimate = estimate(tl.misses, tl.firings+tl.clear, phi, tl.atLeast)
	if all := tl.firings + tl.clear + tl.mixed; all > 0 {
		c.Mixed = tl.mixed / all
	}
	if !math.IsNaN(tl.alarm) {
		c.Worsening, c.Since = true, t.start.Add(seconds(tl.alarm))
	}
	return c
}

func estimate(misses, firings, phi float64, atLeast bool) rate.Estimate {
	if atLeast {
		return rate.AtLeast(misses, firings, phi)
	}
	return rate.Interval(misses, firings, phi)
}

// dispersion is how much a cylinder's misses vary beyond chance, over all cells that can tell; 1 and false
// when they hold too few misses to tell it by.
func (l *level) dispersion(cylinder int) (phi float64, judged bool) {
	var bursts []rate.Burst
	misses := 0.0
	for _, c := range l.cells {
		if c == nil {
			continue
		}
		tl := &c.cylinders[cylinder]
		if p, ok := tl.bursts.Phi(); ok {
			bursts = append(bursts, rate.Burst{Phi: p, Misses: tl.misses})
			misses += tl.misses
		}
	}
	phi = rate.PooledPhi(bursts)
	if misses/phi < fewestToPool {
		return 1, false
	}
	return phi * widening(misses/phi), true
}

// fewestToPool is how many effective misses a dispersion must have been seen over before other cells are
// judged by it: one cell with two misses says nothing about the rest.
const fewestToPool = 3

// dispersion is a cylinder's, as its cells of a level tell it or, where they are too short to tell, those of
// the other: finer cells are freer of what only looks like bursts, wider ones longer.
func (b *book) dispersion(l *level, cylinder int) float64 {
	least := unjudged(b.gears.windows)
	for _, l := range [...]*level{l, &b.fine, &b.gears} {
		if phi, judged := l.dispersion(cylinder); judged {
			return max(phi, least)
		}
	}
	return least
}

// own is the dispersion of one cylinder's cell, by its own blocks when there are enough of them.
func (b *book) own(l *level, t *tally, cylinder int) (phi float64, judged bool) {
	if phi, judged = t.bursts.Final(); judged {
		return phi, true
	}
	return b.dispersion(l, cylinder), false
}

// mild is the dispersion taken while too little has run to tell whether the misses come in bursts: ignition
// faults seldom miss evenly (common practice, no source), so limits as if they did would promise too much.
const mild = 1.5

// unjudged is the dispersion while none can be told, widened for how few windows there are, as package rate
// widens a dispersion measured on few blocks.
func unjudged(windows int) float64 {
	const most = 4.0 // times mild: beyond it nothing would ever be said of the first minute
	return mild * min(most, widening(float64(windows)))
}

// widening is how much limits grow for a dispersion seen over few independent pieces of evidence: Student's t
// in place of the normal distribution, as package rate has it (after Korn and Graubard 1998).
func widening(pieces float64) float64 {
	t := distuv.StudentsT{Sigma: 1, Nu: max(pieces-1, 1)}.Quantile(0.975) / distuv.UnitNormal.Quantile(0.975)
	return t * t
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

// notes is what a reader must know to take the numbers for what they are.
func (t *Tally) notes(s *Summary) []string {
	var notes []string
	if n := t.unreported(s.Engine.Cylinders); n == s.Engine.Cylinders && n > 0 {
		notes = append(notes, "this car reports no misfire counts: codes, lamp and the idle are weaker evidence")
	} else if n > 0 {
		notes = append(notes, fmt.Sprintf("%d of %d cylinders have no counter: nothing is known of them", n, s.Engine.Cylinders))
	}
	if t.cfg.Map != (engine.Map{}) && !t.cfg.Map.IsIdentity() {
		notes = append(notes, "cylinders are named by the map given for this car, not by the standard's order")
	}
	if s.Refresh.Kind == RefreshUnknown && s.Refresh.Rises > 0 {
		notes = append(notes, "how often this car refreshes its counters is not known yet: the split between conditions is provisional")
	}
	for i := range t.lanes {
		if t.lanes[i].saturated {
			notes = append(notes, fmt.Sprintf("the counter of cylinder %d stands at its highest value: its rate is at least what is shown", i+1))
		}
	}
	for _, c := range s.Total {
		if c.Overcounted() {
			notes = append(notes, fmt.Sprintf("cylinder %d counts more misses than firings: engine speed or the cylinder map is wrong", c.Cylinder))
		}
	}
	if standsStill(s.Total) {
		notes = append(notes, "a counter that stands still may be a paused monitor: it is no proof of health")
	}
	return notes
}

func (t *Tally) unreported(cylinders int) int {
	n := 0
	for i := range cylinders {
		if !t.lanes[i].reported {
			n++
		}
	}
	return n
}

// standsStill reports whether nothing was counted though much ran.
func standsStill(total []Cell) bool {
	const much = 3000 // firings: three clean thousands bound the rate at one in a thousand (rule of three)
	for _, c := range total {
		if c.Reported && (c.Misses > 0 || c.Firings < much) {
			return false
		}
	}
	return len(total) > 0
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
