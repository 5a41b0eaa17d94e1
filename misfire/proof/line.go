package proof

import (
	"math"

	"stumble/misfire/rate"
)

// Line is what a cylinder's repair must come to: clean running in which the least of the fault would have shown, over all
// conditions that it failed in, as Wald has it (Wald 1947). It is valid while watched.
type Line struct {
	Have, Want float64 // bursts that the least of the fault would have brought, and how many must not have come
	// Windows and Bursts are those of the fault before: with fewer than twelve windows, or three bursts, nothing can be
	// proven, for nobody knows how the misses come.
	Windows int
	Bursts  float64
}

// What a drive before must hold to prove a repair against. Nothing is proven by less (by simulation, see the laboratory of
// package misfire).
const (
	WindowsToProve = 12
	BurstsToProve  = 3
)

// Can reports whether the fault was seen well enough before to prove that it is gone.
func (l Line) Can() bool { return l.Windows >= WindowsToProve && l.Bursts >= BurstsToProve }

// Crossed reports whether the running after is enough.
func (l Line) Crossed() bool { return l.Can() && l.Have >= l.Want*(1-1e-9) }

// Settled reports whether more running changes nothing: the proof is reached, as far as running can, or broken.
func (c *Comparison) Settled() bool {
	return c.Outcome == Proven || c.Outcome == StillMissing || c.Outcome == Moved || len(c.Needed) == 0
}

// Filled is how much of the running that a condition wants has been run, from 0 to 1. Nothing wanted is 1.
func (c *Condition) Filled() float64 {
	if c.Missing <= 0 || c.Outcome == Proven {
		return 1
	}
	return c.Most.Firings / (c.Most.Firings + c.Missing)
}

// Filled is how much of all the running that a cylinder wants has been run, by the time that it takes, from 0 to 1.
func (cyl *Cylinder) Filled() float64 {
	ran, wanted := 0.0, 0.0
	for i := range cyl.Conditions {
		c := &cyl.Conditions[i]
		if !c.Failing || !(c.RPM > 0) {
			continue
		}
		full := rate.Minutes(c.Most.Firings, c.RPM)
		if c.Outcome != Proven {
			full += math.Max(0, c.Minutes)
		}
		if math.IsInf(full, 1) { // no running is enough
			return 0
		}
		wanted += full
		ran += full * c.Filled()
	}
	if wanted == 0 {
		return 1
	}
	return ran / wanted
}

// draw draws the line of a cylinder, and finds what each failing condition still wants: so much running that the fault as
// it was would have shown there, and together so much that a tenth of it would have. What failed in one condition is not
// proven by running in another.
func (c *comparer) draw(cyl *Cylinder) {
	var failing []*Condition
	all := rate.Pauses{Mean: 1}
	for i := range cyl.Conditions {
		if cond := &cyl.Conditions[i]; cond.Failing {
			failing = append(failing, cond)
			all.Misses += cond.Pauses.Misses
			all.Firings += cond.Pauses.Firings
			all.Bursts += cond.Pauses.Bursts
			all.Mean = math.Max(all.Mean, cond.Pauses.Mean)
			all.Longest = math.Max(all.Longest, cond.Pauses.Longest)
		}
	}
	cyl.Line = Line{Windows: c.windowsBefore(cyl), Bursts: all.Bursts}
	bursts := 0.0
	for _, cond := range failing {
		c.least(cond, all)
		cyl.Line.Have += cond.Most.Firings * cond.Least / 1000 / all.Mean
		bursts += math.Max(cond.Most.Misses/all.Mean, cond.burstsAfter(all))
	}
	start, each := rate.ProofLine()
	cyl.Line.Want = start + each*bursts
	c.want(cyl, failing, all, each)
}

// windowsBefore is how many windows of the cylinder were seen before.
func (c *comparer) windowsBefore(cyl *Cylinder) int {
	n := 0
	for _, r := range c.before.lane(cyl.Cylinder).fine {
		n += r.windows
	}
	return n
}

// least is the least rate in a condition that is still the fault's: a tenth of what it was, by the lower limit of how many
// bursts there were in all.
func (c *comparer) least(cond *Condition, all rate.Pauses) {
	share := all
	if cond.Pauses.Misses > 0 {
		share.Misses, share.Firings = cond.Pauses.Misses, cond.Pauses.Firings
	}
	cond.Least = 1000 * share.Least(c.ceiling/1000)
	cond.Every = math.NaN()
	if cond.Pauses.Bursts > 0 {
		cond.Every = cond.Pauses.Firings / cond.Pauses.Bursts
	}
	// A condition with few bursts of its own is believed to bring its share of them all.
	own := cond.Pauses
	if all.Misses > 0 {
		own.Bursts = math.Max(own.Bursts, all.Bursts*own.Misses/all.Misses)
	}
	cond.ToShow, cond.Unseen = rate.FiringsToShow(own), rate.Unseen(own, cond.Most.Firings)
	if own.Misses == 0 { // a freeze frame from where the drive before never ran
		cond.ToShow, cond.Unseen = 0, math.NaN()
	}
	cond.FalseChance = math.Exp(-cond.Most.Firings * cond.Least / 1000 / all.Mean)
}

// burstsAfter is how many bursts came after: a new one where a pause exceeds a quarter of those before on average.
func (cond *Condition) burstsAfter(all rate.Pauses) float64 {
	if cond.Most.Misses == 0 || all.Bursts == 0 {
		return 0
	}
	return 1 + cond.after.pauses.Longer(all.Firings/(4*all.Bursts))
}

// want finds the running still to come: in each condition its own, and what the line lacks beyond that where it takes the
// least time.
func (c *comparer) want(cyl *Cylinder, failing []*Condition, all rate.Pauses, each float64) {
	lack := cyl.Line.Want - cyl.Line.Have
	var quickest *Condition
	for _, cond := range failing {
		cond.Missing = math.Max(0, cond.ToShow-cond.Most.Firings)
		cond.PerMiss = each * 1000 / cond.Least
		lack -= cond.Missing * cond.Least / 1000 / all.Mean
		if quickest == nil || cond.Least*cond.RPM > quickest.Least*quickest.RPM {
			quickest = cond
		}
	}
	if quickest != nil && lack > 0 {
		quickest.Missing += lack * 1000 * all.Mean / quickest.Least
	}
	if quickest != nil && all.Misses > 0 {
		quickest.Missing = math.Max(quickest.Missing, pausesLeft(failing, all))
	}
	for _, cond := range failing {
		cond.Minutes = rate.Minutes(cond.Missing, cond.RPM)
	}
}

// pausesLeft is what is still to run until the longest pause before would have come five times over: a fault that comes by
// the clock is not bound to chance (common practice, no source).
func pausesLeft(failing []*Condition, all rate.Pauses) float64 {
	const times = 5
	ran := 0.0
	for _, cond := range failing {
		ran += cond.Most.Firings
	}
	return math.Max(0, times*all.Longest-ran)
}

// judge says how each condition of a cylinder stands.
func (c *comparer) judge(cyl *Cylinder) {
	for i := range cyl.Conditions {
		if cond := &cyl.Conditions[i]; cond.Failing {
			cond.Outcome = c.outcome(cyl, cond)
		}
	}
}

func (c *comparer) outcome(cyl *Cylinder, cond *Condition) Outcome {
	if stillThere(cond.after.count, math.Max(cond.after.guard, 1), c.ceiling, 1) {
		switch {
		case cond.Ratio.High > 0.5:
			return StillMissing
		case cond.Ratio.Less < 0.05:
			return Improved
		}
		return NotYet
	}
	if cyl.Line.Crossed() && cond.Missing == 0 && !cond.after.atLeast && cond.Most.Firings > 0 {
		return Proven
	}
	return NotYet
}
