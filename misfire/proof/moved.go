package proof

import (
	"slices"

	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// Newcomer is a cylinder that fails after and did not before.
type Newcomer struct {
	Cylinder int
	Gear     gear.State    // where it stands out most
	Rate     rate.Estimate // there
	Chance   float64       // that chance alone puts so many of the misses on it, for having looked at every cylinder
	Against  rate.Several  // its running after over that before, like with like
	Moved    bool          // it missed less often before, in similar conditions; else it was never driven so
}

// newcomers asks in each gear state which cylinder stands out among its siblings after and did not before.
func (c *comparer) newcomers(failing []Cylinder) []Newcomer {
	var found []Newcomer
	for _, state := range gear.Known() {
		for _, n := range c.standOut(state, failing) {
			i := slices.IndexFunc(found, func(o Newcomer) bool { return o.Cylinder == n.Cylinder })
			switch {
			case i < 0:
				found = append(found, n)
			case n.Rate.Low > found[i].Rate.Low:
				found[i] = n
			}
		}
	}
	for i := range found {
		n := &found[i]
		n.Against = rate.CompareSeveral(c.strata(n.Cylinder), n.Rate.Phi)
		n.Moved = n.Against.Greater < 0.01
	}
	return found
}

// standOut is the cylinders that stand out in one gear state after and neither did there nor failed before.
func (c *comparer) standOut(state gear.State, failing []Cylinder) []Newcomer {
	after, lanes, guards := c.after.siblings(state, c.ceiling)
	before, lanesBefore, _ := c.before.siblings(state, c.ceiling)
	looks := len(lanes) * (gear.States - 1)
	var out []Newcomer
	for k, s := range after.Cylinders {
		cylinder := lanes[k]
		count := rate.Count{Misses: s.Rate.Misses, Firings: s.Rate.Firings}
		if !s.Odd || !stillThere(count, guards[k], c.ceiling, looks) {
			continue
		}
		if slices.ContainsFunc(failing, func(f Cylinder) bool { return f.Cylinder == cylinder }) {
			continue
		}
		if i := slices.Index(lanesBefore, cylinder); i >= 0 && before.Cylinders[i].Odd {
			continue
		}
		out = append(out, Newcomer{Cylinder: cylinder, Gear: state, Rate: s.Rate, Chance: s.Adjusted})
	}
	return out
}

// siblings holds the cylinders against one another in one gear state; lanes names them, guards is what bursts take off the
// evidence of each.
func (s *side) siblings(state gear.State, ceiling float64) (found rate.Siblings, lanes []int, guards []float64) {
	var counts []rate.Count
	var bursts []rate.Burst
	for i := range s.cylinders {
		for _, r := range s.cylinders[i].gears {
			if r.where.Gear == state {
				counts = append(counts, r.alone)
				bursts = append(bursts, rate.Burst{Phi: r.guard, Misses: r.alone.Misses})
				lanes, guards = append(lanes, i+1), append(guards, r.guard)
			}
		}
	}
	return rate.CompareSiblings(counts, rate.PooledPhi(bursts), ceiling), lanes, guards
}
