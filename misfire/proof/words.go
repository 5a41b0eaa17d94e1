package proof

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// gearInWords names a gear state within a sentence.
func gearInWords(s gear.State) string {
	switch s {
	case gear.ParkNeutral:
		return "in Park or Neutral"
	case gear.Drive:
		return "in Drive"
	case gear.Reverse:
		return "in Reverse"
	case gear.Moving:
		return "on the move"
	}
	return "where the freeze frame was stored"
}

// place is a condition within a sentence: "in Drive at about 690 rpm and 34 % load, warm".
func (c *Condition) place() string {
	if c.Level == WholeGear {
		return gearInWords(c.Where.Gear)
	}
	return fmt.Sprintf("%s at about %s", gearInWords(c.Where.Gear), c.At)
}

// String is a point in words: "690 rpm and 34 % load, warm".
func (p Point) String() string {
	s := fmt.Sprintf("%.0f rpm and %.0f %% load", math.Round(p.RPM/10)*10, p.Load)
	if p.Warm != WarmthUnknown {
		s += ", " + p.Warm.String()
	}
	return s
}

// sentence says what is known of one failing condition.
func (c *Condition) sentence() string {
	where := upper(c.place())
	switch c.Outcome {
	case Proven:
		return fmt.Sprintf("%s: proven, %s; if it still missed once in %s firings, a run this clean would come up %s.",
			where, c.seen(), rate.Thousands(1/c.Proof.R0), seldom(c.FalseChance))
	case StillMissing:
		return fmt.Sprintf("%s: still missing, %s; before %s.", where, counted(c.After), counted(c.Before))
	case Improved:
		return fmt.Sprintf("%s: improved, not cured: %s; before %s, so %s as often now.", where, counted(c.After), counted(c.Before), times(c.Ratio))
	}
	if !(c.Most.Firings > 0) {
		return fmt.Sprintf("%s: not driven in similar conditions after%s.", where, c.wanting())
	}
	return fmt.Sprintf("%s: not yet proven, %s%s.", where, c.known(), c.wanting())
}

// seen is what was counted after.
func (c *Condition) seen() string {
	if c.Most.Misses == 0 {
		return fmt.Sprintf("no miss in %s firings", rate.Thousands(c.Most.Firings))
	}
	most := ""
	if c.Most.Misses > c.After.Misses {
		most = "at most "
	}
	return fmt.Sprintf("%s%s in %s firings", most, plural(c.Most.Misses, "miss", "misses"), rate.Thousands(c.Most.Firings))
}

// known is what a run too short for a proof tells all the same.
func (c *Condition) known() string {
	if c.Most.Misses > 0 || math.IsNaN(c.Every) {
		return c.seen()
	}
	what := "miss"
	if c.Bursty {
		what = "burst"
	}
	return fmt.Sprintf("no %s in %s firings; before, one came about every %s", what, rate.Thousands(c.Most.Firings), rate.Thousands(c.Every))
}

// wanting is what is still wanted.
func (c *Condition) wanting() string {
	if c.PhiFrom == BurstsUnjudged {
		return "; before it ran too briefly to tell whether the misses come in bursts, so no running can prove it"
	}
	if c.Missing == 0 {
		return ""
	}
	s := "; wanted: " + minutes(c.Minutes) + " more without a miss"
	if c.Most.Misses > 0 {
		s += fmt.Sprintf(", and each further miss adds %s", minutes(rate.Minutes(c.PerMiss, c.RPM)))
	}
	return s
}

// sentence says how a cylinder stands: by the condition that its outcome rests on.
func (c *Cylinder) sentence() string {
	for i := range c.Conditions {
		if cond := &c.Conditions[i]; cond.Failing && cond.Outcome == c.Outcome {
			return fmt.Sprintf("Cylinder %d, %s", c.Cylinder, lower(cond.Sentence))
		}
	}
	return fmt.Sprintf("Cylinder %d: %s.", c.Cylinder, c.Outcome)
}

// sentence says what the comparison comes to.
func (c *Comparison) sentence() string {
	if len(c.Cylinders) == 0 {
		return "The drive before shows no cylinder that misses beyond doubt: there is nothing to prove a repair by."
	}
	switch c.Outcome {
	case Proven:
		return fmt.Sprintf("Proven: %s no longer %s in conditions similar to those it failed in. %s",
			cylinderNames(c.Cylinders), verb(len(c.Cylinders), "misses", "miss"), c.Cylinders[0].Sentence)
	case Moved:
		return c.movedSentence()
	case StillMissing, Improved:
		i := slices.IndexFunc(c.Cylinders, func(cyl Cylinder) bool { return cyl.Outcome == c.Outcome })
		return c.Cylinders[i].Sentence
	}
	return c.notYetSentence()
}

func (c *Comparison) movedSentence() string {
	i := slices.IndexFunc(c.Newcomers, func(n Newcomer) bool { return n.Moved })
	n := c.Newcomers[i]
	return fmt.Sprintf("Moved: cylinder %d now misses, %s %s; before, %s did and it did not (by chance %s).",
		n.Cylinder, counted(n.Rate), gearInWords(n.Gear), cylinderNames(c.Cylinders), seldom(n.Chance))
}

func (c *Comparison) notYetSentence() string {
	var parts []string
	for _, n := range c.Needed {
		if n.Minutes > 0 && !math.IsInf(n.Minutes, 0) {
			parts = append(parts, fmt.Sprintf("%s %s", minutes(n.Minutes), gearInWords(n.Gear)))
		}
	}
	for _, check := range c.Checks {
		if !check.Met {
			parts = append(parts, check.Text)
		}
	}
	s := "Not yet proven"
	if len(parts) > 0 {
		s += ": still wanted without a miss: " + list(parts)
	}
	i := slices.IndexFunc(c.Cylinders, func(cyl Cylinder) bool { return cyl.Outcome == NotYet })
	if i < 0 {
		return s + "."
	}
	return s + ". " + c.Cylinders[i].Sentence
}

// burstNotes tell how much more is asked because the misses come in bursts.
func (c *comparer) burstNotes(out *Comparison) []string {
	var notes []string
	said := 0.0
	for _, cyl := range out.Cylinders {
		borrowed := 0
		for _, cond := range cyl.Conditions {
			if !cond.Failing {
				continue
			}
			said = math.Max(said, cond.Phi)
			if cond.PhiFrom == BurstsUnjudged {
				const blocks = 1000 // firings: ten blocks of 200 revolutions
				notes = append(notes, fmt.Sprintf("cylinder %d %s: bursts not judged before (%s firings; %s would have done), so nothing stronger than not yet proven",
					cyl.Cylinder, cond.place(), rate.Thousands(cond.Before.Firings), rate.Thousands(blocks)))
			}
			if cond.PhiFrom == BurstsFromOthers {
				borrowed++
			}
		}
		if borrowed > 0 {
			notes = append(notes, fmt.Sprintf("cylinder %d: in %s with little running before, how the misses bunch was taken from its others",
				cyl.Cylinder, plural(float64(borrowed), "condition", "conditions")))
		}
	}
	if said >= 1.5 {
		notes = append(notes, fmt.Sprintf("misses that bunch say less than as many single ones: limits are wider, and up to %.0f times as much running is asked", math.Ceil(said)))
	}
	return notes
}

func frameNotes(frames []FrameMatch) []string {
	var notes []string
	for _, f := range frames {
		switch {
		case !f.Known:
			notes = append(notes, fmt.Sprintf("the freeze frame of %s lacks engine speed or load: it could not be matched", f.Code))
		case f.Firings == 0:
			notes = append(notes, fmt.Sprintf("nothing was driven after that is similar to the freeze frame of %s (%s)", f.Code, f.At))
		}
	}
	return notes
}

// wholeGears names the gear states that were compared as a whole.
func wholeGears(cylinders []Cylinder) string {
	var names []string
	for _, cyl := range cylinders {
		for _, cond := range cyl.Conditions {
			if name := gearInWords(cond.Where.Gear); cond.Level == WholeGear && !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	return list(names)
}

func cylinderNames(cylinders []Cylinder) string {
	var names []string
	for _, c := range cylinders {
		names = append(names, fmt.Sprint(c.Cylinder))
	}
	return verb(len(names), "cylinder ", "cylinders ") + list(names)
}

// list joins words: "a, b and c".
func list(words []string) string {
	last := len(words) - 1
	if last < 1 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

func verb(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// counted is a rate in words: "31 of 1,000 firings (21 to 44)".
func counted(e rate.Estimate) string {
	if !e.Known() {
		return "not driven"
	}
	if e.AtLeast || math.IsInf(e.High, 1) {
		return fmt.Sprintf("at least %s of 1,000 firings", figure(e.Low))
	}
	return fmt.Sprintf("%s of 1,000 firings (%s to %s)", figure(e.Rate), figure(e.Low), figure(e.High))
}

// times is a ratio in words: "0.24 times (0.15 to 0.38)".
func times(c rate.Comparison) string {
	return fmt.Sprintf("%.2g times (%.2g to %.2g)", c.Ratio, c.Low, c.High)
}

func figure(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 9.95:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.0f", v)
}

// seldom is a small chance in words: "less than once in 20".
func seldom(chance float64) string {
	const rarest = 1e-6
	if chance <= rarest {
		return "less than once in a million"
	}
	return "at most once in " + rate.Thousands(round2(math.Floor(1/chance+1e-9)))
}

// round2 rounds down to two figures.
func round2(v float64) float64 {
	if v < 100 {
		return v
	}
	scale := math.Pow(10, math.Floor(math.Log10(v))-1)
	return math.Floor(v/scale) * scale
}

// minutes is a running time in words, rounded up. Beyond reach it says so.
func minutes(m float64) string {
	const beyond = 600 // nobody drives ten hours for a proof
	switch {
	case math.IsNaN(m) || m > beyond:
		return "more than 10 hours"
	case m > 90:
		return fmt.Sprintf("%.1f hours", math.Ceil(m/6)/10)
	}
	return plural(math.Max(1, math.Ceil(m-1e-9)), "minute", "minutes")
}

func plural(n float64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return rate.Thousands(n) + " " + many
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
func lower(s string) string { return strings.ToLower(s[:1]) + s[1:] }
