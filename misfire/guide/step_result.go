package guide

import (
	"math"
	"slices"
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

// String returns the outcome as one word: "not_reached", "running", "done", "left_out", "broken_off", "stopped".
func (o Outcome) String() string {
	return key(int(o), "not_reached", "running", "done", "left_out", "broken_off", "stopped")
}

// StepResult is one step of the plan when all is done.
type StepResult struct {
	Step    *Step
	Outcome Outcome
	In      time.Duration // in the condition, while the step ran
	Firings float64       // of each cylinder in that time
	Needed  float64       // of them for the question asked; 0 when none were
	Remark  Saying        // why it was broken off, or what it was too short for; nothing when all is well

	// Counts has an entry a cylinder: what its counter showed of the running in the step's condition while the step ran.
	// Empty when there was none.
	Counts []StepCount
}

// StepCount is the rate of one cylinder in a step.
type StepCount struct {
	Cylinder int
	Reported bool
	rate.Estimate
}

// Results returns one result a step of the plan; s is the Summary of the whole drive, its Cells among it.
func (t *LoadTest) Results(s *misfire.Summary) []StepResult {
	t.now = s
	found, _ := suspect(s)
	results := make([]StepResult, len(t.runs))
	for i := range t.runs {
		u := &t.runs[i]
		counted := t.counted(i)
		results[i] = StepResult{Step: &t.cfg.Steps[i], Outcome: u.outcome, In: u.in, Firings: u.firings(), Remark: u.why,
			Counts: counted}
		if s.Counted() {
			if found > u.need.rate { // what was looked for in the dark is rarer than what is there
				u.need.rate, u.need.firings = found, rate.ToSeeOnce(found/1000, unseen, 1)
			}
			results[i].Needed = u.need.firings
			if u.outcome == Done && u.why.Kind == Nothing {
				results[i].Remark = t.short(u, counted)
			}
		}
	}
	return results
}

// window keeps a window of the counters until the results are asked for: its misses are shared out by rates that are known
// only then.
func (t *LoadTest) window(w *misfire.Window) {
	if w.Counted {
		t.windows = append(t.windows, misfire.Window{From: w.From, To: w.To, Counted: true,
			Stretches: slices.Clone(w.Stretches), Counts: slices.Clone(w.Counts)})
	}
}

// counted adds up what the windows hold of a step.
func (t *LoadTest) counted(i int) []StepCount {
	sum, s, u := t.now, &t.cfg.Steps[i], &t.runs[i]
	all := make([]StepCount, len(sum.Total))
	rates := ratesOf(sum, s)
	seen := false
	for k := range t.windows {
		w := &t.windows[k]
		share := u.shareOf(w, s)
		if share == 0 {
			continue
		}
		firings := share * s.firingsOf(w)
		for _, c := range w.Counts {
			if c.Cylinder > len(all) {
				continue
			}
			seen = true
			a := &all[c.Cylinder-1]
			a.Firings += firings
			a.Misses += share * float64(c.Misses) * rates.part(w, s, c.Cylinder)
			a.AtLeast = a.AtLeast || c.AtLeast
		}
	}
	if !seen {
		return nil
	}
	for k := range all {
		a := &all[k]
		a.Cylinder, a.Reported = sum.Total[k].Cylinder, sum.Total[k].Reported
		interval := rate.Interval
		if a.AtLeast {
			interval = rate.AtLeast
		}
		a.Estimate = interval(a.Misses, a.Firings, rates.phi(a.Cylinder))
	}
	return all
}

// shareOf is the part, 0 to 1, of a window's running in the step's condition that falls into the time of the step.
func (u *run) shareOf(w *misfire.Window, s *Step) float64 {
	var within, running time.Duration
	for _, v := range u.visits {
		from, to := w.From, w.To
		if v.from.After(from) {
			from = v.from
		}
		if !v.to.IsZero() && v.to.Before(to) {
			to = v.to
		}
		within += max(to.Sub(from), 0)
	}
	for _, x := range w.Stretches {
		if s.Has(x.Condition) {
			running += x.Running
		}
	}
	if running == 0 || within == 0 {
		return 0
	}
	return min(within.Seconds()/running.Seconds(), 1)
}

// firingsOf is a window's firings of one cylinder in the step's condition.
func (s *Step) firingsOf(w *misfire.Window) float64 {
	firings := 0.0
	for _, x := range w.Stretches {
		if s.Has(x.Condition) {
			firings += x.Firings
		}
	}
	return firings
}

// conditionRates are the rates of a drive by cylinder and condition. A gear that no other step has is taken whole, as the
// tally's own table by gear has it: lumps are shared out more surely over fewer conditions.
type conditionRates struct {
	rate   map[rateOf]float64 // misses per 1,000 firings
	spread map[int]float64    // dispersion by cylinder in the step's condition
	by     func(misfire.Condition) misfire.Condition
}

type rateOf struct {
	cylinder  int
	condition misfire.Condition
}

func ratesOf(sum *misfire.Summary, s *Step) conditionRates {
	r := conditionRates{rate: make(map[rateOf]float64), spread: make(map[int]float64)}
	r.by = func(c misfire.Condition) misfire.Condition { return c }
	cells, has := sum.Cells, s.Has
	if s.OnBrake() {
		cells, has = sum.ByGear, func(c misfire.Condition) bool { return s.meets(c.Gear) }
		r.by = func(c misfire.Condition) misfire.Condition { return misfire.Condition{Gear: c.Gear} }
	}
	for i := range cells {
		c := &cells[i]
		if !c.Known() {
			continue
		}
		r.rate[rateOf{c.Cylinder, r.by(c.Condition)}] = c.Rate
		if has(c.Condition) {
			r.spread[c.Cylinder] = max(r.spread[c.Cylinder], c.Phi)
		}
	}
	return r
}

// phi is the dispersion of a cylinder's misses in the step's condition.
func (r *conditionRates) phi(cylinder int) float64 { return max(r.spread[cylinder], 1) }

// part is the share of a window's misses that its running in the step's condition has: as the rates of the drive have it,
// and by firings where they tell nothing.
func (r *conditionRates) part(w *misfire.Window, s *Step, cylinder int) float64 {
	var mine, all, myFirings, firings float64
	for _, x := range w.Stretches {
		weight := r.rate[rateOf{cylinder, r.by(x.Condition)}] * x.Firings
		all, firings = all+weight, firings+x.Firings
		if s.Has(x.Condition) {
			mine, myFirings = mine+weight, myFirings+x.Firings
		}
	}
	switch {
	case all > 0:
		return mine / all
	case firings > 0:
		return myFirings / firings
	}
	return 0
}

// short returns what a finished step was too short for; nothing when it was not.
func (t *LoadTest) short(u *run, counted []StepCount) Saying {
	switch f := t.refresh(); {
	case t.keyOff():
	case f.Kind == misfire.RefreshRevolutions && seen(u, f) < refreshes:
		return Saying{Kind: FewRevolutions, Value: math.Floor(seen(u, f)), Of: f.Revolutions}
	case f.Kind == misfire.RefreshSeconds && seen(u, f) < refreshes:
		return Saying{Kind: FewSeconds, Value: math.Floor(seen(u, f)), Of: f.Seconds}
	case f.Kind == misfire.RefreshUnknown && u.revs < refreshes*t.cadence.most():
		return Saying{Kind: FewPerhaps, Value: math.Floor(u.revs / assumed), Of: assumed}
	}
	if u.firings() >= u.need.firings || slices.ContainsFunc(counted, func(c StepCount) bool { return c.Misses >= enough }) {
		return Saying{}
	}
	return Saying{Kind: FewFirings, Rate: u.need.rate, Value: math.Floor(u.firings()), Of: math.Ceil(u.need.firings)}
}

// seen is how many refreshes lie in a run.
func seen(u *run, f misfire.Refresh) float64 {
	if f.Kind == misfire.RefreshSeconds {
		return u.in.Seconds() / f.Seconds
	}
	return u.revs / f.Revolutions
}

// tooShort is the steps to take up again: those that ended before the car's refresh was known, and now turn out
// to hold too few.
func (t *LoadTest) tooShort() []int {
	if t.keyOff() || !t.now.Counted() {
		return nil
	}
	f := t.refresh()
	if f.Kind != misfire.RefreshRevolutions && f.Kind != misfire.RefreshSeconds {
		return nil
	}
	var again []int
	for i := range t.runs {
		if u := &t.runs[i]; u.outcome == Done && !t.cfg.Steps[i].Fixed && seen(u, f) < refreshes {
			again = append(again, i)
		}
	}
	return again
}

// Notes returns what a reader must know of the whole test.
func (t *LoadTest) Notes(s *misfire.Summary) []Saying {
	t.now = s
	switch {
	case !s.Counted():
		return []Saying{told(NoteNoCounts)}
	case s.Refresh.Rises == 0 && !t.keyOff():
		return []Saying{told(NoteNoneMoved)}
	}
	return nil
}
