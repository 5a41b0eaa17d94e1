package misfire

import (
	"fmt"

	"stumble/misfire/engine"
)

// notes is what a reader must know to take the numbers for what they are.
func (t *Tally) notes(s *Summary) []string {
	var notes []string
	note := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	t.noteCounters(s, note)
	if t.cfg.Map != (engine.Map{}) && !t.cfg.Map.IsIdentity() {
		note("cylinders are named by the map given for this car, not by the standard's order")
	}
	noteRefresh(s.Refresh, note)
	for i, c := range s.Total {
		if t.lanes[i].saturated {
			note("the counter of cylinder %d stands at its highest value: its rate is at least what is shown", c.Cylinder)
		}
		if c.Overcounted() {
			note("cylinder %d counts more misses than firings: engine speed or the cylinder map is wrong", c.Cylinder)
		}
		if c.Still {
			note("the counter of cylinder %d moved before and now stands still, longer than chance allows at its own earlier rate: "+
				"the controller may have shut its fuel off or paused its monitor. What ran since is left out; it is no proof of health", c.Cylinder)
		}
	}
	if standsStill(s.Total) {
		note("a counter that stands still may be a paused monitor: it is no proof of health")
	}
	for i := range s.Total {
		if odd := t.averages[i].odd; odd != "" {
			note("%s", odd)
		}
	}
	return notes
}

// noteCounters says which cylinders have no counter.
func (t *Tally) noteCounters(s *Summary, note func(string, ...any)) {
	n, all := t.unreported(s.Engine.Cylinders), s.Engine.Cylinders
	switch {
	case t.awaited():
	case !t.counts():
		note("this car reports no misfire counts: codes, lamp and the idle are weaker evidence")
		if len(s.Idle) > 0 {
			note("a dip of the idle is not a miss: compare gear states of this drive, not cars or drives")
		}
	case n > 0:
		note("%d of %d cylinders have no counter: nothing is known of them", n, all)
	}
}

func noteRefresh(r Refresh, note func(string, ...any)) {
	switch {
	case r.Kind == RefreshUnknown && r.Rises > 0:
		note("how often this car refreshes its counters is not known yet: the split between conditions is provisional")
	case r.Kind == RefreshKeyOff:
		note("this car shows its counts only when the engine stops: the whole driving cycle is one window, and how its misses " +
			"fall on gears and loads cannot be told. A cycle that was under way before it was watched is left out")
	}
}

// awaited reports whether it is too early to say that a car has no counters.
func (t *Tally) awaited() bool {
	const long = 10.0 // seconds: the slowest adapter has asked every cylinder by then
	return !t.counts() && t.seconds(t.last) < long
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
	reported := false
	for _, c := range total {
		if c.Reported && (c.Misses > 0 || c.Firings < much) {
			return false
		}
		reported = reported || c.Reported
	}
	return reported
}
