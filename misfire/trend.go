package misfire

import (
	"math"

	"stumble/misfire/rate"
)

// trend watches one cylinder in one condition for a rate that rose against its own earlier running, and dates it. Nothing
// is learnt and frozen: every point of the past may be where it rose, and only the ratio of both parts counts. Memory
// stays flat: what is long past is kept in longer pieces.
type trend struct {
	pieces []piece // oldest first
	status trendStatus
	since  float64 // seconds; of the rise that holds, or held last
	until  float64 // seconds at which it was over
}

// piece is some neighbouring windows.
type piece struct {
	rate.Count
	from, to float64 // seconds
}

// trendStatus is whether the rate is risen now.
type trendStatus uint8

const (
	trendLevel  trendStatus = iota // no rise was found
	trendRisen                     // it holds
	trendPassed                    // it rose, and fell back: it comes and goes
)

// mostPieces bounds what a trend keeps; of the older half neighbours are put together when there is no more room.
const mostPieces = 192

func newTrend() *trend { return &trend{since: math.Inf(1), until: math.Inf(1)} }

// add takes the next window, which ran from one time to another, in seconds; cylinders is how many are watched.
func (t *trend) add(misses, firings, from, to float64, cylinders int) {
	if len(t.pieces) == mostPieces {
		t.thin()
	}
	t.pieces = append(t.pieces, piece{rate.Count{Misses: misses, Firings: firings}, from, to})
	switch {
	case t.status == trendRisen:
		t.watchFall(cylinders)
	case misses > 0:
		t.watchRise(cylinders)
	}
}

// thin puts neighbours of the older two thirds together.
func (t *trend) thin() {
	old := 2 * mostPieces / 3 &^ 1
	kept := t.pieces[:0]
	for i := 0; i < old; i += 2 {
		a, b := t.pieces[i], t.pieces[i+1]
		a.Misses, a.Firings, a.to = a.Misses+b.Misses, a.Firings+b.Firings, b.to
		kept = append(kept, a)
	}
	t.pieces = append(kept, t.pieces[old:]...)
}

// watchRise looks for a rise at any point of the past, on a grid that is coarser the longer ago.
func (t *trend) watchRise(cylinders int) {
	first := 0
	if t.status == trendPassed { // what comes and goes is held against the highest spell so far
		first = t.spell()
	}
	at := t.change(first, cylinders, false)
	if at < 0 {
		return
	}
	t.status, t.since, t.until = trendRisen, t.pieces[at].from, math.Inf(1)
}

// watchFall looks whether the rate fell back since it rose.
func (t *trend) watchFall(cylinders int) {
	first := t.spell()
	if at := t.change(first, cylinders, true); at >= 0 {
		t.status, t.until = trendPassed, t.pieces[at].from
	}
}

// spell is the first piece of the rise.
func (t *trend) spell() int {
	for i, p := range t.pieces {
		if p.to > t.since {
			return i
		}
	}
	return 0
}

// change is the piece at which the rate most likely rose, or fell, since a piece; -1 when none is sure. The guard against
// bursts is worked out only where the evidence without one would do.
func (t *trend) change(first, cylinders int, fall bool) int {
	line := rate.ChangeThreshold(cylinders)
	at, evidence := -1, line
	var after rate.Count
	all := sumOf(t.pieces[first:])
	next := 1
	for back := 1; back < len(t.pieces)-first; back++ {
		i := len(t.pieces) - back
		after.Misses += t.pieces[i].Misses
		after.Firings += t.pieces[i].Firings
		if back < next {
			continue
		}
		next = max(next+1, next+next/4)
		before := rate.Count{Misses: all.Misses - after.Misses, Firings: all.Firings - after.Firings}
		one, two := before, after
		if fall {
			one, two = after, before
		}
		if two.Misses*one.Firings <= one.Misses*two.Firings {
			continue
		}
		if rate.ChangeEvidence(one, two, 1) < line {
			continue
		}
		guard, fewest := t.guard(first, i, before, after, fall)
		e := rate.ChangeEvidence(one, two, guard)
		if e >= evidence && two.Misses/guard >= fewest {
			at, evidence = i, e
		}
	}
	return at
}

// guard is what evidence of a change at a piece is divided by, and how many bursts it wants after it: little where the part
// before shows no bursts, much where it may.
func (t *trend) guard(first, at int, before, after rate.Count, fall bool) (guard, fewest float64) {
	const fewAfterSteady, fewAfter = 3, 5
	b, a := piled(t.pieces[first:at], ratio(before.Misses, before.Firings)), piled(t.pieces[at:], ratio(after.Misses, after.Firings))
	both := rate.Measure(rate.EvidenceLeast, 2, b, a)
	mb, ma := rate.Measure(rate.EvidenceLeast, 1, b), rate.Measure(rate.EvidenceLeast, 1, a)
	if fall || mb.Steady() { // a fall that is none says no more than that it comes and goes
		return rate.SteadyGuard(both, mb, ma), fewAfterSteady
	}
	return rate.StrictGuard(both, mb, ma), fewAfter
}

// piled is some pieces as a ladder at their rate.
func piled(pieces []piece, r float64) rate.Fitted {
	l := &rate.Ladder{}
	for _, p := range pieces {
		l.Add(p.Misses, p.Firings)
	}
	return rate.Fitted{Ladder: l, Rate: r}
}

func sumOf(pieces []piece) (c rate.Count) {
	for _, p := range pieces {
		c.Misses += p.Misses
		c.Firings += p.Firings
	}
	return c
}

// forget begins anew; what was found stays.
func (t *trend) forget() { t.pieces = nil }

// clone is a copy that can be added to by itself.
func (t *trend) clone() *trend {
	c := *t
	c.pieces = append([]piece(nil), t.pieces...)
	return &c
}
