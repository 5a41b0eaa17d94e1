package say

import (
	"math"
	"slices"
	"strconv"

	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Outcome is what a comparison comes to, in a word or two: "Not yet proven".
func (w Words) Outcome(o proof.Outcome) string {
	switch o {
	case proof.Proven:
		return w.tell("outcome-proven")
	case proof.Improved:
		return w.tell("outcome-improved")
	case proof.StillMissing:
		return w.tell("outcome-still-missing")
	case proof.Moved:
		return w.tell("outcome-moved")
	}
	return w.tell("outcome-not-yet")
}

// Comparison is what a comparison comes to, complete.
func (w Words) Comparison(c *proof.Comparison) string {
	if opening := w.opening(c); opening != "" {
		return w.tell("sentence-opened", opening, lower(w.Finding(c)))
	}
	return w.Finding(c)
}

// Untold says how drives compare between which nobody told of anything, and asks.
func (w Words) Untold(c *proof.Comparison) string {
	var came []int
	for _, n := range c.Newcomers {
		came = append(came, n.Cylinder)
	}
	slices.Sort(came)
	came = slices.Compact(came)
	n, still := float64(len(c.Cylinders)), slices.ContainsFunc(c.Cylinders, missesOn)
	named, others := w.cylindersOf(c), w.Cylinders(came)
	var first string
	switch {
	case n == 0 && len(came) > 0:
		first = w.tell("join-sentences", w.tell("untold-none"), w.tell("untold-came", others))
	case n == 0:
		first = w.tell("untold-none")
	case still:
		first = Capital(w.Count("untold-both", n, named))
	case len(came) > 0:
		first = Capital(w.Count("untold-other", n, named, others))
	default:
		first = Capital(w.Count("untold-gone", n, named))
	}
	return w.tell("join-sentences", first, w.tell("untold-ask"))
}

// missesOn reports whether a cylinder that failed before was seen to miss after.
func missesOn(c proof.Cylinder) bool {
	return slices.ContainsFunc(c.Conditions, func(c proof.Condition) bool { return c.Failing && c.Most.Misses > 0 })
}

// opening is the outcome that begins the sentence; none where the sentence names it by itself.
func (w Words) opening(c *proof.Comparison) string {
	switch {
	case len(c.Cylinders) == 0:
	case c.Outcome == proof.Proven, c.Outcome == proof.Moved, c.Outcome == proof.NotYet && len(w.wanted(c)) > 0:
		return w.Outcome(c.Outcome)
	}
	return ""
}

// Finding is what a comparison comes to, for a place where its outcome stands beside it.
func (w Words) Finding(c *proof.Comparison) string {
	if len(c.Cylinders) == 0 {
		return w.tell("compare-nothing-before")
	}
	switch c.Outcome {
	case proof.Proven:
		return w.tell("join-sentences", w.Headline(c), w.Cylinder(&c.Cylinders[0]))
	case proof.Moved:
		return w.Headline(c)
	case proof.StillMissing, proof.Improved:
		i := slices.IndexFunc(c.Cylinders, func(cyl proof.Cylinder) bool { return cyl.Outcome == c.Outcome })
		return w.Cylinder(&c.Cylinders[max(i, 0)])
	}
	return w.notYet(c)
}

// Headline is the first sentence of a finding: what it rests on is left out.
func (w Words) Headline(c *proof.Comparison) string {
	switch {
	case len(c.Cylinders) == 0:
	case c.Outcome == proof.Proven:
		return Capital(w.Count("compare-proven", float64(len(c.Cylinders)), w.cylindersOf(c)))
	case c.Outcome == proof.Moved:
		n := c.Newcomers[slices.IndexFunc(c.Newcomers, func(n proof.Newcomer) bool { return n.Moved })]
		return w.tell("compare-moved", n.Cylinder, w.limited(n.Rate), w.InGear(n.Gear), w.cylindersOf(c), w.seldom(n.Chance))
	}
	return w.Finding(c)
}

func (w Words) cylindersOf(c *proof.Comparison) string {
	var numbers []int
	for _, cyl := range c.Cylinders {
		numbers = append(numbers, cyl.Cylinder)
	}
	return w.Cylinders(numbers)
}

// wanted is what a proof still wants, a phrase each.
func (w Words) wanted(c *proof.Comparison) (parts []string) {
	for _, n := range c.Needed {
		if n.Minutes > 0 && !math.IsInf(n.Minutes, 0) {
			parts = append(parts, w.tell("need-in", w.minutes(n.Minutes), w.inFrameGear(n.Gear)))
		}
	}
	for _, check := range c.Checks {
		if !check.Met {
			parts = append(parts, w.Check(check))
		}
	}
	return parts
}

func (w Words) notYet(c *proof.Comparison) string {
	text := w.tell("compare-not-yet")
	if parts := w.wanted(c); len(parts) > 0 {
		text = w.tell("compare-wanted", w.List(parts))
	}
	if i := slices.IndexFunc(c.Cylinders, func(cyl proof.Cylinder) bool { return cyl.Outcome == proof.NotYet }); i >= 0 {
		return w.tell("join-sentences", text, w.Cylinder(&c.Cylinders[i]))
	}
	return text
}

// Check is one more thing that a proof wants, as a phrase.
func (w Words) Check(c proof.Check) string {
	if c.Kind == proof.WantsStart {
		return w.tell("check-start", c.Code)
	}
	return w.tell("check-warm-up")
}

// Cylinder says how a cylinder stands: by the condition that its outcome rests on.
func (w Words) Cylinder(c *proof.Cylinder) string {
	for i := range c.Conditions {
		if cond := &c.Conditions[i]; cond.Failing && cond.Outcome == c.Outcome {
			return w.tell("cylinder-stands", c.Cylinder, lower(w.Condition(cond)))
		}
	}
	return w.tell("cylinder-outcome-sentence", c.Cylinder, lower(w.Outcome(c.Outcome)))
}

// Condition says what is known of one failing condition.
func (w Words) Condition(c *proof.Condition) string {
	where := Capital(w.place(c))
	switch c.Outcome {
	case proof.Proven:
		const plain = 0.05 // a chance above it convinces nobody: all conditions together exclude so small a rest
		if c.FalseChance > plain && c.Most.Misses == 0 && c.Unseen <= plain {
			return w.tell("condition-proven-shown", where, w.seen(c), w.seldom(c.Unseen))
		}
		return w.tell("condition-proven", where, w.seen(c), Grouped(1000/c.Least), w.seldom(c.FalseChance))
	case proof.StillMissing:
		return w.tell("condition-still-missing", where, w.limited(c.After), w.limited(c.Before))
	case proof.Improved:
		return w.tell("condition-improved", where, w.limited(c.After), w.limited(c.Before), w.times(c.Ratio))
	}
	if !(c.Most.Firings > 0) {
		return w.tell("condition-undriven", where, w.wanting(c))
	}
	return w.tell("condition-not-yet", where, w.known(c), w.wanting(c))
}

// place is a condition within a sentence: "in Drive at about 690 rpm and 34 % load, warm".
func (w Words) place(c *proof.Condition) string {
	if c.Level == proof.WholeGear {
		return w.inFrameGear(c.Where.Gear)
	}
	return w.tell("place-at", w.inFrameGear(c.Where.Gear), w.point(c.At))
}

// inFrameGear names the gear state of a condition, which only a freeze frame has none of.
func (w Words) inFrameGear(g gear.State) string {
	if g == gear.Unknown {
		return w.tell("in-frame")
	}
	return w.InGear(g)
}

// point is where an engine ran: "690 rpm and 34 % load, warm". Nobody knows the speed to less than ten.
func (w Words) point(p proof.Point) string {
	text := w.tell("point-plain", whole(math.Round(p.RPM/10)*10), whole(p.Load))
	if warm := w.Warmth(p.Warm); warm != "" {
		text = w.Commas([]string{text, warm})
	}
	return text
}

// Warmth is the warm state of running; "" when it is not known.
func (w Words) Warmth(warm proof.Warmth) string {
	switch warm {
	case proof.Cold:
		return w.tell("warm-cold")
	case proof.Warm:
		return w.tell("warm-warm")
	}
	return ""
}

// seen is what was counted after.
func (w Words) seen(c *proof.Condition) string {
	if c.Most.Misses == 0 {
		return w.tell("seen-none", Grouped(c.Most.Firings))
	}
	seen := w.tell("seen-some", w.count("count-misses", c.Most.Misses), Grouped(c.Most.Firings))
	if c.Most.Misses > c.After.Misses {
		return w.tell("seen-at-most", seen)
	}
	return seen
}

// known is what a run too short for a proof tells all the same.
func (w Words) known(c *proof.Condition) string {
	switch {
	case c.Most.Misses > 0 || math.IsNaN(c.Every):
		return w.seen(c)
	case c.Pauses.Mean >= bunched:
		return w.tell("known-no-burst", Grouped(c.Most.Firings), Grouped(c.Every))
	}
	return w.tell("known-no-miss", Grouped(c.Most.Firings), Grouped(c.Every))
}

// wanting is what is still wanted, behind what was said of a condition; "" for nothing.
func (w Words) wanting(c *proof.Condition) string {
	switch {
	case c.Missing == 0:
		return ""
	case c.Most.Misses > 0:
		return w.tell("wanting-and-each", w.minutes(c.Minutes), w.minutes(rate.Minutes(c.PerMiss, c.RPM)))
	}
	return w.tell("wanting-clean", w.minutes(c.Minutes))
}

// times is a ratio in words: "0.24 times (0.15 to 0.38)".
func (w Words) times(c rate.Comparison) string {
	return w.tell("times-limited", twoFigures(c.Ratio), twoFigures(c.Low), twoFigures(c.High))
}

func twoFigures(v float64) string { return strconv.FormatFloat(v, 'g', 2, 64) }

// seldom is a small chance in words: "at most once in 20".
func (w Words) seldom(chance float64) string {
	const rarest = 1e-6
	if chance <= rarest {
		return w.tell("seldom-rarest")
	}
	return w.tell("seldom-once", Grouped(roundDown(math.Floor(1/chance+1e-9))))
}

// roundDown rounds down to two figures.
func roundDown(v float64) float64 {
	if v < 100 {
		return v
	}
	scale := math.Pow(10, math.Floor(math.Log10(v))-1)
	return math.Floor(v/scale) * scale
}

// minutes is a running time in words, rounded up. Beyond reach it says so.
func (w Words) minutes(m float64) string {
	const beyond = 600 // nobody drives ten hours for a proof
	switch {
	case math.IsNaN(m) || m > beyond:
		return w.tell("time-too-long")
	case m > 90:
		return w.tell("time-hours-long", strconv.FormatFloat(math.Ceil(m/6)/10, 'f', 1, 64))
	}
	return w.count("count-minutes", math.Max(1, math.Ceil(m-1e-9)))
}

// ComparisonNotes are what a reader must know to take a comparison for what it is, a phrase each.
func (w Words) ComparisonNotes(c *proof.Comparison) []string {
	notes := []string{w.alike(c.Tolerance)}
	notes = append(notes, w.burstNotes(c)...)
	for _, f := range c.Frames {
		switch {
		case !f.Known:
			notes = append(notes, w.tell("note-frame-poor", f.Code))
		case f.Firings == 0:
			notes = append(notes, w.tell("note-frame-undriven", f.Code, w.point(f.At)))
		}
	}
	if whole := w.wholeGears(c.Cylinders); whole != "" {
		notes = append(notes, w.tell("note-whole-gears", whole))
	}
	if n := len(c.NotCompared); n > 0 {
		notes = append(notes, w.count("note-one-side", float64(n)))
	}
	if c.CleanAfter {
		notes = append(notes, w.tell("note-paused"))
	}
	if c.Outcome == proof.Proven {
		notes = append(notes, w.tell("note-next-rain"))
	}
	return notes
}

func (w Words) alike(t proof.Tolerance) string {
	return w.tell("note-alike", whole(t.RPM), whole(t.Load))
}

// bunched is from how many misses a burst on they are said to come in bursts.
const bunched = 1.5

// burstNotes tell how much more is asked because the misses come in bursts, and what a drive before was too short for.
func (w Words) burstNotes(c *proof.Comparison) []string {
	var notes []string
	mean := 1.0
	for i := range c.Cylinders {
		cyl := &c.Cylinders[i]
		for k := range cyl.Conditions {
			if cyl.Conditions[k].Failing {
				mean = max(mean, cyl.Conditions[k].Pauses.Mean)
			}
		}
		if !cyl.Line.Can() {
			notes = append(notes, w.tell("note-cannot-prove", cyl.Cylinder, w.count("count-bursts", math.Round(cyl.Line.Bursts)),
				w.count("count-windows", float64(cyl.Line.Windows)), proof.BurstsToProve, proof.WindowsToProve))
		}
	}
	if mean >= bunched {
		notes = append(notes, w.tell("note-bunched", whole(math.Ceil(mean))))
	}
	return notes
}

// wholeGears names the gear states that were compared as a whole.
func (w Words) wholeGears(cylinders []proof.Cylinder) string {
	var names []string
	for _, cyl := range cylinders {
		for _, cond := range cyl.Conditions {
			if name := w.inFrameGear(cond.Where.Gear); cond.Level == proof.WholeGear && !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return w.List(names)
}

// CodeChange says what a change of trouble codes means, a sentence each. A code that is gone proves nothing by itself; a
// permanent code that is gone does (13 CCR 1968.2 (d)(2.5)).
func (w Words) CodeChange(c *proof.CodeChange) []string {
	var out []string
	add := func(codes []obd.Code, said func(string) string) {
		if len(codes) == 0 {
			return
		}
		names := make([]string, len(codes))
		for i, code := range codes {
			names[i] = code.String()
		}
		out = append(out, said(w.Commas(names)))
	}
	add(c.Stored.Gone, func(s string) string { return w.tell("codes-stored-gone", s) })
	add(c.Stored.Kept, func(s string) string { return w.tell("codes-stored-kept", s) })
	add(c.Stored.New, func(s string) string { return w.tell("codes-stored-new", s) })
	add(c.Pending.Kept, func(s string) string { return w.tell("codes-pending-kept", s) })
	add(c.Pending.New, func(s string) string { return w.tell("codes-pending-new", s) })
	add(c.Permanent.Gone, func(s string) string { return w.tell("codes-permanent-gone", s) })
	add(c.Permanent.Kept, func(s string) string { return w.tell("codes-permanent-kept", s) })
	add(c.Permanent.New, func(s string) string { return w.tell("codes-permanent-new", s) })
	if c.Unread {
		out = append(out, w.tell("codes-unread"))
	}
	if len(out) == 0 {
		out = append(out, w.tell("codes-none"))
	}
	return out
}
