package steps

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"stumble/misfire"
	"stumble/misfire/rate"
)

// Outcome is what became of a step.
type Outcome uint8

// Outcomes.
const (
	NotReached Outcome = iota
	Running
	Done
	LeftOut   // by the user
	BrokenOff // for safety's sake
	Stopped   // with the test
)

// String is the outcome in words.
func (o Outcome) String() string {
	return [...]string{"not reached", "running", "done", "left out", "broken off", "stopped"}[o]
}

// Result is one step of the plan when all is done.
type Result struct {
	Step    *Step
	Outcome Outcome
	In      time.Duration // in the condition, while the step ran
	Firings float64       // of each cylinder in that time
	Needed  float64       // of them for the question asked; 0 when none were
	Remark  string        // why it was broken off, or what it was too short for; empty when all is well

	// Cells has an entry a cylinder: the whole drive's running in the step's condition, whether the step ran then
	// or not. Empty when there was none.
	Cells []Count
}

// Count is the rate of one cylinder in a step's condition.
type Count struct {
	Cylinder int
	Reported bool
	rate.Estimate
}

// Results is one result a step of the plan; s is the Summary of the whole drive, its Cells among it.
func (r *Runner) Results(s *misfire.Summary) []Result {
	r.now = s
	found, _ := suspect(s)
	results := make([]Result, len(r.runs))
	for i := range r.runs {
		u := &r.runs[i]
		step := &r.cfg.Plan[i]
		results[i] = Result{Step: step, Outcome: u.outcome, In: u.in, Firings: u.firings(), Remark: u.why, Cells: step.counts(s)}
		if counts(s) {
			if found > u.need.rate { // what was looked for in the dark is rarer than what is there
				u.need.rate, u.need.firings = found, rate.ToSeeOnce(found/1000, unseen, 1)
			}
			results[i].Needed = u.need.firings
			if u.outcome == Done && u.why == "" {
				results[i].Remark = r.short(i)
			}
		}
	}
	return results
}

// cells is where the step's condition is found. A gear that no other step has is taken whole, as the tally's own table
// by gear has it: lumps are shared out more surely over fewer conditions.
func (s *Step) cells(sum *misfire.Summary) []misfire.Cell {
	from, has := sum.Cells, s.Has
	if s.Gear.Loaded() {
		from, has = sum.ByGear, func(c misfire.Condition) bool { return s.meets(c.Gear) }
	}
	var cells []misfire.Cell
	for i := range from {
		if has(from[i].Condition) {
			cells = append(cells, from[i])
		}
	}
	return cells
}

// counts adds up the cells of the step's condition.
func (s *Step) counts(sum *misfire.Summary) []Count {
	all := make([]Count, len(sum.Total))
	seen := false
	cells := s.cells(sum)
	for i := range cells {
		c := &cells[i]
		if c.Cylinder > len(all) || !c.Known() {
			continue
		}
		seen = true
		a := &all[c.Cylinder-1]
		a.Misses += c.Misses
		a.Firings += c.Firings
		a.Phi = max(a.Phi, c.Phi)
		a.AtLeast = a.AtLeast || c.AtLeast
	}
	if !seen {
		return nil
	}
	for i := range all {
		a := &all[i]
		a.Cylinder, a.Reported = sum.Total[i].Cylinder, sum.Total[i].Reported
		interval := rate.Interval
		if a.AtLeast {
			interval = rate.AtLeast
		}
		a.Estimate = interval(a.Misses, a.Firings, max(a.Phi, 1))
	}
	return all
}

// short says what a finished step was too short for; empty when it was not.
func (r *Runner) short(i int) string {
	u := &r.runs[i]
	switch f := r.refresh(); {
	case r.keyOff():
	case f.Kind == misfire.RefreshRevolutions && seen(u, f) < refreshes:
		return fmt.Sprintf("%s of the counters' refreshes (every %.0f revolutions) in it: repeat it", several(seen(u, f)), f.Revolutions)
	case f.Kind == misfire.RefreshSeconds && seen(u, f) < refreshes:
		return fmt.Sprintf("%s of the counters' refreshes (every %.0f seconds) in it: repeat it", several(seen(u, f)), f.Seconds)
	case f.Kind == misfire.RefreshUnknown && u.revs < refreshes*r.cadence.most():
		return fmt.Sprintf("if this car's counters are refreshed every 1,000 revolutions, %s of the refreshes in it", several(u.revs/assumed))
	}
	if u.firings() >= u.need.firings || r.shownIn(i) {
		return ""
	}
	return fmt.Sprintf("not enough to show a fault of %s in 1,000 for sure: %.0f firings of %.0f", figure(u.need.rate),
		math.Floor(u.firings()), math.Ceil(u.need.firings))
}

// seen is how many refreshes lie in a run.
func seen(u *run, f misfire.Refresh) float64 {
	if f.Kind == misfire.RefreshSeconds {
		return u.in.Seconds() / f.Seconds
	}
	return u.revs / f.Revolutions
}

func several(n float64) string {
	if n := math.Floor(n); n > 0 {
		return fmt.Sprintf("only %.0f", n)
	}
	return "none"
}

func figure(v float64) string {
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// shownIn reports whether the fault showed in a step that is over.
func (r *Runner) shownIn(i int) bool {
	for _, c := range r.cfg.Plan[i].counts(r.now) {
		if c.Misses >= enough {
			return true
		}
	}
	return false
}

// tooShort is the steps to take up again: those that ended before the car's refresh was known, and now turn out
// to hold too few.
func (r *Runner) tooShort() []int {
	if r.keyOff() || !counts(r.now) {
		return nil
	}
	f := r.refresh()
	if f.Kind != misfire.RefreshRevolutions && f.Kind != misfire.RefreshSeconds {
		return nil
	}
	var again []int
	for i := range r.runs {
		if u := &r.runs[i]; u.outcome == Done && r.cfg.Plan[i].Burst == 0 && seen(u, f) < refreshes {
			again = append(again, i)
		}
	}
	return again
}

// Notes is what a reader must know of the whole test.
func (r *Runner) Notes(s *misfire.Summary) []string {
	switch {
	case !counts(s):
		return []string{"this car reports no misfire counts: the steps show no more than lamp, codes and idle can tell"}
	case s.Refresh.Rises == 0 && !r.keyOff():
		return []string{"no count moved in the whole test: that is a healthy engine, a paused monitor, or a car whose counters " +
			"move only at key-off; --key-off reads such a car"}
	}
	return nil
}
