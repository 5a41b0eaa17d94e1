package misfire

import (
	"cmp"
	"slices"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

const (
	// How rarely chance alone may put on a difference: a cylinder that stands out, allowing for all looks; the
	// one question about gears asked beforehand; and any other difference between two gear states, allowing
	// for all pairs.
	oddChance     = 0.01
	plannedChance = 0.05
	foundChance   = 0.05
)

// verdict judges the drive. Only windows that lie within one gear state decide; what is shared out by
// estimate is shown, but accuses nobody.
func (r *review) verdict(s *Summary) Verdict {
	v := Verdict{EaseOff: easeOff(s)}
	bad, random := r.looks()
	for i, is := range bad {
		if is {
			v.Cylinders = append(v.Cylinders, i+1)
		}
	}
	slices.SortStableFunc(v.Cylinders, func(x, y int) int { return cmp.Compare(s.Total[y-1].Rate, s.Total[x-1].Rate) })
	if len(v.Cylinders) > 0 {
		v.WorseIn = r.worseIn(v.Cylinders[0] - 1)
	}
	v.Random = random && len(v.Cylinders) == 0
	for _, c := range s.Total {
		if c.Worsening {
			v.Worsening = append(v.Worsening, c.Cylinder)
		}
	}
	v.Finding = r.tally.finding(s, &v)
	return v
}

// looks compares the cylinders with each other, in the drive as a whole and in each gear state. bad stand out
// beyond chance and above the ceiling in one of them, allowing for having looked at each; random tells that in
// one of them the engine as a whole is above the ceiling.
func (r *review) looks() (bad [engine.MaxCylinders]bool, random bool) {
	looks := []look{r.wholeLook()}
	for _, g := range gear.Known() {
		if r.gears.cells[g] != nil {
			looks = append(looks, r.gearLook(g))
		}
	}
	for _, l := range looks {
		siblings := rate.CompareSiblings(l.counts, l.phi, r.tally.cfg.Ceiling)
		random = random || siblings.Total.Above(r.tally.cfg.Ceiling)
		for k, c := range siblings.Cylinders {
			if c.Odd && c.Adjusted*float64(len(looks)) < oddChance {
				bad[l.lanes[k]] = true
			}
		}
	}
	return bad, random
}

// look is the counts of the cylinders that have a counter, in like running, with their pooled dispersion.
type look struct {
	counts []rate.Count
	lanes  []int // indices of the cylinders
	phi    float64
}

func (r *review) look(of func(cylinder int) (rate.Count, float64)) look {
	var l look
	var bursts []rate.Burst
	for i := range r.cylinders {
		if !r.tally.lanes[i].reported {
			continue
		}
		count, phi := of(i)
		bursts = append(bursts, rate.Burst{Phi: phi, Misses: count.Misses})
		l.counts = append(l.counts, count)
		l.lanes = append(l.lanes, i)
	}
	l.phi = rate.PooledPhi(bursts)
	return l
}

// gearLook looks at the unmixed windows of one gear state.
func (r *review) gearLook(g gear.State) look {
	return r.look(func(i int) (rate.Count, float64) {
		t := r.gears.cells[g].at(i).seen(r.still(i))
		phi, _ := r.own(&r.gears, t, i)
		return t.count(), phi
	})
}

// wholeLook looks at the whole drive. Its dispersion is that of single conditions: the difference between
// them is no burst.
func (r *review) wholeLook() look {
	return r.look(func(i int) (rate.Count, float64) { return r.all(i), r.dispersion(&r.fine, i) })
}

// worseIn is the gear state in which a cylinder misses most, when it is worse there beyond chance; Unknown
// when none is. What is tested first is the question the complaint asks: a gear in, against Park or Neutral;
// failing that, every pair of gear states.
func (r *review) worseIn(cylinder int) gear.State {
	phi := r.dispersion(&r.gears, cylinder)
	lever := rate.Compare(r.counted(&r.lever, leverInGear, cylinder), r.counted(&r.lever, leverNeutral, cylinder), phi)
	switch {
	case lever.Greater < plannedChance:
		return r.surestHigh(cylinder, phi)
	case lever.Less < plannedChance:
		return gear.ParkNeutral
	}
	const pairs = (gear.States - 1) * (gear.States - 2)
	worst, least := gear.Unknown, foundChance/float64(pairs)
	for _, high := range gear.Known() {
		for _, low := range gear.Known() {
			if high == low {
				continue
			}
			c := rate.Compare(r.counted(&r.gears, int(high), cylinder), r.counted(&r.gears, int(low), cylinder), phi)
			if c.Greater < least {
				worst, least = high, c.Greater
			}
		}
	}
	return worst
}

// surestHigh is the gear state, of those with a gear in, whose rate is the highest beyond doubt: by its lower
// limit, so that a few firings in Reverse do not outshout minutes in Drive.
func (r *review) surestHigh(cylinder int, phi float64) gear.State {
	best, top := gear.Unknown, 0.0
	for _, g := range gear.Known() {
		if g == gear.ParkNeutral {
			continue
		}
		c := r.counted(&r.gears, int(g), cylinder)
		if low := rate.Interval(c.Misses, c.Firings, phi).Low; low > top {
			best, top = g, low
		}
	}
	return best
}

// counted is what decides of one cylinder in one group of a level.
func (r *review) counted(l *level, group, cylinder int) rate.Count {
	return l.cells[group].at(cylinder).seen(r.still(cylinder)).count()
}

// easeOff reports misfire that can overheat the catalyst, now: the last block over the limit, or the lamp
// flashing.
func easeOff(s *Summary) bool {
	return s.Live.MIL == MILFlashing || s.Live.Running && s.Whole.Catalyst.Last > s.Whole.Catalyst.Limit
}
