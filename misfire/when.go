package misfire

import (
	"stumble/misfire/gear"
)

// when is in which running a cylinder misses more than in the rest, as far as that is beyond chance.
type when struct {
	lever leaning // in gear rather than in Park or Neutral
	pairs [gearStates][gearStates]leaning
	load  [loadElsewhere]leaning // above the lower edge of a band of load rather than below it, on the move
}

const (
	// spellsToAsk is how many stretches of one gear state must have ended before they are compared: what changes in minutes
	// of itself looks like the gear that happened to be in.
	spellsToAsk = 3
	gearPairs   = (gear.States - 1) * (gear.States - 2) / 2
)

// turn notes in which gear state the engine runs now: a stretch of one ends as another begins.
func (b *accounts) turn(g gear.State) {
	if g != gear.Unknown && g != b.in {
		if b.in != gear.Unknown {
			b.spells++
		}
		b.in = g
	}
}

// askWhen brings up to date in which running a cylinder misses more, after a window of its.
func (b *accounts) askWhen(i int) {
	s := &b.total[i]
	if s.misses < fewestBursts {
		return
	}
	if b.spells >= spellsToAsk {
		s.when.lever = s.when.lever.ask(b.lever.divide(i, groupsOf(leverInGear), groupsOf(leverNeutral)), 1)
		b.askPairs(i)
	}
	for edge := 1; edge < loadElsewhere; edge++ {
		var above, below groupSet
		for band := range loadElsewhere {
			above[band], below[band] = band >= edge, band < edge
		}
		if d := b.load.divide(i, above, below); d.allFirst > 0 && d.allOther > 0 {
			s.when.load[edge] = s.when.load[edge].ask(d, loadElsewhere-1)
		}
	}
}

// askPairs compares every two gear states.
func (b *accounts) askPairs(i int) {
	known := gear.Known()
	for k, one := range known {
		for _, other := range known[k+1:] {
			if b.gears.cells[one] == nil || b.gears.cells[other] == nil {
				continue
			}
			p := &b.total[i].when.pairs[one][other]
			*p = p.ask(b.gears.divide(i, groupsOf(int(one)), groupsOf(int(other))), gearPairs)
		}
	}
}

// worseIn is the gear state in which a cylinder misses most, when it is worse there beyond chance; Unknown when none is.
// What is asked first is the question of the complaint: a gear in, against Park or Neutral; failing that, every pair of
// gear states.
func (r *review) worseIn(cylinder int) gear.State {
	w := &r.total[cylinder].when
	switch w.lever {
	case leansFirst:
		return r.surestHigh(cylinder)
	case leansOther:
		return gear.ParkNeutral
	}
	worst, low := gear.Unknown, -1.0
	known := gear.Known()
	for k, one := range known {
		for _, other := range known[k+1:] {
			high := one
			switch w.pairs[one][other] {
			case leansNot:
				continue
			case leansOther:
				high = other
			}
			if l := r.lowest(cylinder, high); l > low {
				worst, low = high, l
			}
		}
	}
	return worst
}

// surestHigh is the gear state, of those with a gear in, whose rate is the highest beyond doubt: by its lower
// limit, so that a few firings in Reverse do not outshout minutes in Drive.
func (r *review) surestHigh(cylinder int) gear.State {
	best, top := gear.Unknown, -1.0
	for _, g := range gear.Known() {
		if g == gear.ParkNeutral || r.gears.cells[g] == nil {
			continue
		}
		if low := r.lowest(cylinder, g); low > top {
			best, top = g, low
		}
	}
	return best
}

// lowest is the lower limit of a cylinder's rate in a gear state; of what is shared out where nothing else is known.
func (r *review) lowest(cylinder int, g gear.State) float64 {
	t := r.gears.cells[g].at(cylinder).seen(r.still(cylinder))
	if t.firings+t.clear == 0 {
		return 0
	}
	e, _ := r.limited(t, cylinder)
	return e.Low
}

// aboveLoad is the least load, in percent, above which a cylinder misses more on the move than below, beyond chance; of
// several the highest. 0 when there is none.
func (r *review) aboveLoad(cylinder int) int {
	for edge := loadElsewhere - 1; edge > 0; edge-- {
		if r.total[cylinder].when.load[edge] == leansFirst {
			return int(loadEdges[edge*loadStep-1])
		}
	}
	return 0
}
