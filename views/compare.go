package views

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
)

// Comparison is all there is to tell of drives before a repair against drives after it.
type Comparison struct {
	Before, After []Compared
	Chosen        string // by which rule the drives were chosen; empty when the user named them
	Result        *proof.Comparison
	Swap          *proof.SwapResult // nil when no part was exchanged
	Codes         CodesRead
	Readiness     *proof.Readiness // after; nil when not read
	Rules         []proof.Rule     // what the car does by itself, and what it still needs
	Causes        *cause.Result    // what may be behind it where it misses still; else nil
}

// Compared is one drive of a comparison.
type Compared struct {
	Drive   int64
	Summary *misfire.Summary
	Heard   *cause.Collector // what the causes want of the drive beside its summary; may be nil
}

// CodesRead is when the trouble codes that are compared were read; the zero time is never.
type CodesRead struct{ Before, After time.Time }

// WriteComparison writes a comparison as text of at most 80 columns: the sentence, what was compared, a table for each
// cylinder that failed, what is still needed, and what a reader must know. The error is w's.
func WriteComparison(w io.Writer, c *Comparison) error {
	p := &comparisonPage{Comparison: c}
	if c.Swap != nil {
		p.paragraph("", c.Swap.Sentence)
	}
	p.paragraph("", c.Result.Sentence)
	p.gap()
	p.head()
	for i := range c.Result.Cylinders {
		p.cylinder(&c.Result.Cylinders[i])
	}
	p.swap()
	p.newcomers()
	p.needed()
	p.notCompared()
	p.codes()
	p.byItself()
	p.notes()
	if _, err := io.WriteString(w, strings.Map(printableLines, p.String())); err != nil {
		return err
	}
	return WriteCausesBrief(w, c.Causes)
}

// printableLines is printable, with line ends kept.
func printableLines(r rune) rune {
	if r == '\n' {
		return r
	}
	return printable(r)
}

// comparisonPage is a comparison being written.
type comparisonPage struct {
	page
	*Comparison
}

// section is a heading and its lines; without lines it is left out.
func (p *comparisonPage) section(heading string, lines ...string) {
	if len(lines) == 0 {
		return
	}
	p.gap()
	p.paragraph("", heading)
	for _, line := range lines {
		p.paragraph("- ", line)
	}
}

// head says which drives were compared and how.
func (p *comparisonPage) head() {
	for _, side := range []struct {
		label  string
		drives []Compared
	}{{"before  ", p.Before}, {"after   ", p.After}} {
		for _, d := range side.drives {
			s := d.Summary
			p.paragraph(side.label, fmt.Sprintf("drive %d, %s, %s, engine running %s", d.Drive, s.Start.Format("2006-01-02 15:04"), minutes(s.Now.Sub(s.Start)), minutes(s.Running)))
		}
	}
	if p.Chosen != "" {
		p.paragraph("chosen  ", p.Chosen)
	}
	t := p.Result.Tolerance
	p.paragraph("alike   ", fmt.Sprintf("same gear state, within %.0f rpm and %.0f points of load, equally warm", t.RPM, t.Load))
	p.paragraph("healthy ", "up to "+plainNumber(p.Result.Ceiling)+" per 1,000 firings")
	if len(p.Result.Cylinders) > 0 {
		p.gap()
		p.paragraph("", "Misses/firings before and after, of stretches that lie within one condition. A ratio of 1 is as often as before. "+
			"Conditions without a state showed no fault before and are not judged.")
	}
}

// comparisonLine is a line of the table: condition, before, after, ratio, state; 79 columns at most.
const comparisonLine = "%-25s%13s%13s  %-17s  %s"

// cylinder has a line for each condition, and under the table a sentence for each in which the repair is judged.
func (p *comparisonPage) cylinder(c *proof.Cylinder) {
	p.gap()
	p.paragraph("", fmt.Sprintf("Cylinder %d: %s.", c.Cylinder, c.Outcome))
	p.gap()
	p.line("condition", "before", "after", "ratio (limits)", "state")
	for i := range c.Conditions {
		p.condition(&c.Conditions[i])
	}
	if r := c.Overall.Comparison; c.OneRatio && len(c.Conditions) > 1 {
		p.line("all that is alike", "", "", ratioWords(r.Ratio, r.Low, r.High), "")
	}
	for i := range c.Conditions {
		if cond := &c.Conditions[i]; cond.Failing {
			p.paragraph("- ", cond.Sentence)
		}
	}
}

// condition writes misses and firings on both sides, and their ratio.
func (p *comparisonPage) condition(c *proof.Condition) {
	state, after := "", "not driven"
	if c.Failing {
		state = stateWords(c.Outcome)
	}
	ratio := ""
	if c.After.Firings > 0 {
		after = countWords(c.After.Misses, c.After.Firings)
		ratio = ratioWords(c.Ratio.Ratio, c.Ratio.Low, c.Ratio.High)
	}
	p.line(placeWords(c), countWords(c.Before.Misses, c.Before.Firings), after, ratio, state)
}

func (p *comparisonPage) line(where, before, after, ratio, state string) {
	p.WriteString(strings.TrimRight(fmt.Sprintf(comparisonLine, where, before, after, ratio, state), " ") + "\n")
}

// placeWords is a condition within 24 columns: "moving 2450 rpm 55 % warm".
func placeWords(c *proof.Condition) string {
	switch {
	case c.Level == proof.WholeGear:
		return c.Where.Gear.String() + ", as a whole"
	case c.Level == proof.Frame:
		return fmt.Sprintf("%s %s %s", c.Code, whole(c.At.RPM), whole(c.At.Load)+" %")
	}
	words := fmt.Sprintf("%s %s rpm %s %%", c.Where.Gear, whole(c.At.RPM), whole(c.At.Load))
	if c.At.Warm != proof.WarmthUnknown {
		words += " " + c.At.Warm.String()
	}
	return words
}

// countWords is misses of firings, shortened where it would be too long for its column.
func countWords(misses, firings float64) string {
	const column = 12
	if text := grouped(misses) + "/" + grouped(firings); len(text) <= column {
		return text
	}
	return short(misses) + "/" + short(firings)
}

// ratioWords is a rate after over one before, with its limits.
func ratioWords(ratio, low, high float64) string {
	switch {
	case math.IsNaN(ratio):
		return "no miss to tell by"
	case math.IsInf(ratio, 1):
		return "new (over " + ratioNumber(low) + ")"
	}
	return ratioNumber(ratio) + " (" + ratioNumber(low) + "-" + ratioNumber(high) + ")"
}

func ratioNumber(v float64) string {
	if v > 0 && v < 9.995 {
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return brief(v)
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

// stateWords is an outcome within eight columns.
func stateWords(o proof.Outcome) string {
	switch o {
	case proof.NotYet:
		return "not yet"
	case proof.StillMissing:
		return "missing"
	}
	return o.String()
}

// swap tells both cylinders of a swap side by side.
func (p *comparisonPage) swap() {
	if p.Swap == nil {
		return
	}
	s := p.Swap
	p.gap()
	p.paragraph("", fmt.Sprintf("The %s of cylinders %d and %d exchanged: %s.", s.Part, s.A, s.B, s.Verdict))
	p.gap()
	fmt.Fprintf(p, "%-25s%13s%13s%14s%13s\n", "condition", fmt.Sprintf("cyl %d before", s.From), "after", fmt.Sprintf("cyl %d before", s.To), "after")
	for i := range s.Conditions {
		c := &s.Conditions[i]
		fmt.Fprintf(p, "%-25s%13s%13s%14s%13s\n", placeWords(&c.Condition), countWords(c.Before.Misses, c.Before.Firings),
			countWords(c.After.Misses, c.After.Firings), countWords(c.OtherWas.Misses, c.OtherWas.Firings), countWords(c.Other.Misses, c.Other.Firings))
	}
	p.section("Still needed to read the swap:", needWords(s.Needed)...)
	p.section("On the swap:", s.Notes...)
}

func (p *comparisonPage) newcomers() {
	var lines []string
	for _, n := range p.Result.Newcomers {
		text := fmt.Sprintf("cylinder %d, %s: %s misses per 1,000 firings (%s to %s)", n.Cylinder, inGearWords(n.Gear), digits(n.Rate.Rate), brief(n.Rate.Low), brief(n.Rate.High))
		if !n.Moved {
			text += "; never driven so before"
		}
		lines = append(lines, text)
	}
	p.section("Misses now and did not before:", lines...)
}

func (p *comparisonPage) needed() {
	lines := needWords(p.Result.Needed)
	for _, c := range p.Result.Checks {
		if !c.Met {
			lines = append(lines, c.Text)
		}
	}
	p.section("Still needed for a proof, all of it without a miss:", lines...)
}

func needWords(needs []proof.Need) []string {
	var lines []string
	for _, n := range needs {
		lines = append(lines, fmt.Sprintf("%s %s at about %s", spanWords(n.Minutes), inGearWords(n.Gear), n.At))
	}
	return lines
}

// spanWords is a running time, rounded up; beyond ten hours it says no more than that.
func spanWords(m float64) string {
	switch {
	case math.IsNaN(m) || m > 600:
		return "more than 10 hours"
	case m > 90:
		return digits(math.Ceil(m/6)/10) + " hours"
	}
	return plural(int(max(1, math.Ceil(m-1e-9))), "minute", "minutes")
}

func inGearWords(g gear.State) string {
	switch g {
	case gear.ParkNeutral:
		return "in Park or Neutral"
	case gear.Drive:
		return "in Drive at rest"
	case gear.Reverse:
		return "in Reverse"
	case gear.Moving:
		return "on the move"
	}
	return "in whatever gear"
}

func (p *comparisonPage) notCompared() {
	var lines []string
	for _, a := range p.Result.NotCompared {
		side := "after"
		if a.Before {
			side = "before"
		}
		lines = append(lines, fmt.Sprintf("%s, only %s: %s firings of each cylinder", a.Where, side, grouped(a.Firings)))
	}
	p.section("Not compared, since only one side ran so:", lines...)
}

func (p *comparisonPage) codes() {
	if c := p.Result.Codes; c != nil {
		p.section(fmt.Sprintf("Codes, read %s and %s:", p.Codes.Before.Format("2006-01-02 15:04"), p.Codes.After.Format("2006-01-02 15:04")), c.Sentences...)
		return
	}
	side := "before"
	if !p.Codes.Before.IsZero() {
		side = "after the repair was driven"
	}
	p.section("Codes:", "They were not read "+side+", so they are not compared: 'stumble intake' reads and saves them.")
}

// byItself is readiness and the cycles that the car counts for itself.
func (p *comparisonPage) byItself() {
	var lines []string
	if p.Readiness != nil {
		lines = append(lines, "readiness: "+p.Readiness.Text)
	}
	for _, r := range p.Rules {
		lines = append(lines, r.Name+": "+r.Text)
	}
	p.section("What the car decides by itself (typical rules; makers differ):", lines...)
}

func (p *comparisonPage) notes() {
	p.section("To take the numbers for what they are:", p.Result.Notes...)
}
