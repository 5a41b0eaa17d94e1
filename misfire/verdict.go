package misfire

import (
	"cmp"
	"slices"

	"stumble/misfire/rate"
)

// verdict judges the drive. Windows that lie within one gear state tell most; what spans several tells what it can by
// its likelihood, and is left out of nothing but the rates.
func (r *review) verdict(s *Summary) Verdict {
	v := Verdict{EaseOff: easeOff(s)}
	for i := range r.cylinders {
		if r.total[i].dead() {
			v.Cylinders, v.Dead = append(v.Cylinders, i+1), append(v.Dead, i+1)
			continue
		}
		switch c := r.total[i].charge; {
		case c.bad, c.now && r.still(i): // its fuel may have been shut off: there is no more to wait for
			v.Cylinders = append(v.Cylinders, i+1)
		case c.now:
			v.Now = append(v.Now, i+1)
		}
	}
	byRate := func(x, y int) int { return cmp.Compare(s.Total[y-1].Rate, s.Total[x-1].Rate) }
	slices.SortStableFunc(v.Cylinders, byRate)
	slices.SortStableFunc(v.Now, byRate)
	if named := v.Named(); len(named) > 0 {
		v.WorseIn, v.AboveLoad = r.worseIn(named[0]-1), r.aboveLoad(named[0]-1)
	}
	v.Clash = r.tally.clash(s, v.Named())
	v.Foremost = r.foremost(s)
	v.Bank = r.banked(s, &v)
	v.Random = v.Foremost == 0 && v.Bank == 0 && r.everywhere(&v)
	for _, c := range s.Total {
		if c.Worsening {
			v.Worsening = append(v.Worsening, c.Cylinder)
		}
	}
	v.Finding = r.tally.finding(s, &v)
	return v
}

// foremost is the cylinder that most misses are on, as far as it may be above the ceiling; 0 when there is none. It is
// what was counted, in however few bursts, and accuses nobody.
func (r *review) foremost(s *Summary) int {
	const few, most = 3, 0.6
	all, c := 0.0, s.Foremost()
	for i := range s.Total {
		all += s.Total[i].Misses
	}
	if c == nil || c.Misses < few || c.Misses < most*all || !(c.High > r.tally.cfg.Ceiling) {
		return 0
	}
	return c.Cylinder
}

// everywhere reports whether the engine as a whole misses more than a healthy one: with every cylinder named, or with
// misses that are too few on each to name it.
func (r *review) everywhere(v *Verdict) bool {
	var counted []int
	for i := range r.cylinders {
		if r.tally.lanes[i].reported {
			counted = append(counted, i+1)
		}
	}
	if named := len(v.Cylinders) + len(v.Now); named > 0 {
		return len(counted) > 1 && named == len(counted)
	}
	all, guard := r.together(counted)
	return all.Misses/guard >= fewestBursts && rate.BadEvidence(all, guard, r.ceiling) >= rate.BadThreshold(1, accuses)
}

// easeOff reports misfire that can overheat the catalyst, now: the last block over the limit, or the lamp
// flashing.
func easeOff(s *Summary) bool {
	return s.Live.MIL == MILFlashing || s.Live.Running && s.Whole.Catalyst.Last > s.Whole.Catalyst.Limit
}
