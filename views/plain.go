package views

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views/say"
	"stumble/views/wrap"
)

// PlainLine is a state as one line of text, without line end: elapsed time, gear and who says so, engine speed, load,
// misses and rates by cylinder, then whatever is wrong. "-" stands for what is not known.
func PlainLine(s *State) string {
	parts := []string{}
	if sum := s.Summary; sum == nil {
		parts = append(parts, "waiting for the first readings")
	} else {
		parts = append(parts, Minutes(sum.Now.Sub(sum.Start))+" "+GearWords(sum.Live.Gear)[0],
			speedWords(sum.Live), "load "+say.Rounded(sum.Live.Load)+" %", totalWords(sum))
		if sum.Live.MIL == misfire.MILFlashing {
			parts = append(parts, "MIL FLASHING")
		}
	}
	if st := s.Step; st != nil {
		parts = append(parts, fmt.Sprintf("step %d of %d %s, %s left", st.Number, st.Of, st.Name, Minutes(st.Left)))
	}
	if s.Health.Link != "" {
		parts = append(parts, "LINK "+strings.ToUpper(s.Health.Link))
	}
	if alert := s.Warning(); alert != "" {
		parts = append(parts, alert)
	}
	return strings.Map(wrap.Printable, strings.Join(parts, "; "))
}

func speedWords(l misfire.Live) string {
	if !l.Running {
		return "engine not running"
	}
	return say.Rounded(l.RPM) + " rpm"
}

// uncountedWords is why a cylinder has no count.
func uncountedWords(s *misfire.Summary) string {
	if s.Unread > 0 {
		return "not read"
	}
	return "not reported by this car"
}

// totalWords is the misses of each cylinder and their rates.
func totalWords(s *misfire.Summary) string {
	if !s.Counted() {
		return "misses " + uncountedWords(s)
	}
	misses, rates := make([]string, len(s.Total)), make([]string, len(s.Total))
	for i := range s.Total {
		c := &s.Total[i]
		misses[i], rates[i] = "-", "-"
		if c.Reported {
			misses[i], rates[i] = Short(c.Misses), perThousand.Rate(c)
			if c.AtLeast {
				rates[i] = "at least " + rates[i]
			}
		}
	}
	return "misses " + strings.Join(misses, " ") + ", per 1,000 " + strings.Join(rates, " ")
}

// WriteSummary writes what a drive has told, as text of at most 80 columns: the sentence, the table by cylinder and
// gear state, and what a reader must know to take the numbers for what they are. The error is w's.
func WriteSummary(w io.Writer, s *misfire.Summary) error {
	var p page
	p.paragraph("", say.English().Verdict(s))
	if s.Verdict.EaseOff {
		p.paragraph("", easeOff+".")
	}
	if !s.Start.IsZero() {
		p.gap()
		p.facts(s)
		p.table(s)
		p.remarks(s)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// PageWidth is the width of printed text, in columns.
const PageWidth = 80

// page is text being written.
type page struct {
	strings.Builder
	width int // in columns; PageWidth where it is 0
}

func (p *page) gap() { p.WriteByte('\n') }

// paragraph writes a text behind a label; the lines after the first stand under the text.
func (p *page) paragraph(label, text string) {
	for _, line := range wrap.Text(text, cmp.Or(p.width, PageWidth)-wrap.Width(label)) {
		p.WriteString(strings.TrimRight(label+line, " ") + "\n")
		label = strings.Repeat(" ", wrap.Width(label))
	}
}

// facts says what was driven, on which engine, and how its counts move.
func (p *page) facts(s *misfire.Summary) {
	p.paragraph("drive         ", fmt.Sprintf("%s from %s, engine running %s, %s", Minutes(s.Now.Sub(s.Start)),
		s.Start.Format("2006-01-02 15:04:05"), Minutes(s.Running), say.Plural(s.Cycles, "driving cycle", "driving cycles")))
	p.paragraph("engine        ", engineWords(s))
	p.paragraph("refresh       ", Cadence(s.Refresh)[0])
	for _, b := range []misfire.Block{s.Whole.Catalyst, s.Whole.Emission} {
		p.paragraph("whole engine  ", "over "+say.Grouped(b.Revolutions)+" revolutions: "+blockWords(b))
	}
	p.paragraph("lamp (MIL)    ", s.Live.MIL.String())
}

func engineWords(s *misfire.Summary) string {
	words := say.English().Engine(s.Engine)
	if order := s.Engine.Row().Order; order != "" {
		words += ", firing order " + order
	}
	if !s.Map.IsIdentity() {
		words += "; the car's monitors are taken as cylinders " + s.Map.String()
	}
	return words
}

// blockWords says a whole-engine percentage and where its limit is from.
func blockWords(b misfire.Block) string {
	limit := Digits(b.Limit) + " % (" + LimitWords(b) + ")"
	if b.Blocks == 0 || math.IsNaN(b.Last) {
		return "no whole block yet, limit " + limit
	}
	words := fmt.Sprintf("last %s, worst %s, limit %s", Share(b.Last), Share(b.Worst), limit)
	if b.Over > 0 {
		words += fmt.Sprintf("; over it in %d of %s", b.Over, say.Plural(b.Blocks, "block", "blocks"))
	}
	return words
}

const tableHead = "cyl  gear               misses   firings    rate   as low as  as high as  mixed\n"

// table has a line for each cylinder and gear state, and one for the cylinder's whole drive.
func (p *page) table(s *misfire.Summary) {
	p.gap()
	if !s.Counted() {
		p.paragraph("", "Misses by cylinder are "+uncountedWords(s)+".")
		return
	}
	p.paragraph("", "Misses per 1,000 firings. The true rate could be as low as the one limit or as high as the other; "+
		"such limits miss it once in 20.")
	p.gap()
	p.WriteString(tableHead)
	for i := range s.Total {
		total := &s.Total[i]
		if !total.Reported {
			fmt.Fprintf(p, "%3d  %s\n", total.Cylinder, uncountedWords(s))
			continue
		}
		for j := range s.ByGear {
			if c := &s.ByGear[j]; c.Cylinder == total.Cylinder {
				p.row(s, c, gearOf(c))
			}
		}
		p.row(s, total, "whole drive")
	}
}

func gearOf(c *misfire.Cell) string {
	if c.Condition.Gear == gear.Unknown {
		return "unknown"
	}
	return c.Condition.Gear.String() + ", " + originWords(c.Origin)
}

// row writes one rate, and under it what is special about it.
func (p *page) row(s *misfire.Summary, c *misfire.Cell, where string) {
	head := fmt.Sprintf("%3d  %-16s", c.Cylinder, where)
	switch {
	case !c.Reported:
		fmt.Fprintf(p, "%s  %s\n", head, uncountedWords(s))
		return
	case !c.Known():
		fmt.Fprintf(p, "%s  no running\n", head)
		return
	}
	high := brief(c.High)
	if math.IsInf(c.High, 1) {
		high = "not known"
	}
	fmt.Fprintf(p, "%s%9s%10s%8s%11s%12s%5s %%\n", head,
		say.Grouped(c.Misses), say.Grouped(c.Firings), Digits(c.Rate), brief(c.Low), high, say.Rounded(100*c.Mixed))
	for _, remark := range remarksOn(s, c) {
		p.paragraph("       ", remark)
	}
}

// unwidened is the dispersion up to which limits are as good as those of independent misses.
const unwidened = 1.005

// unjudged reports a rate whose limits are widened only in case its misses come in bursts.
func unjudged(c misfire.Cell) bool { return c.Reported && c.Known() && !c.Judged && c.Phi > unwidened }

// remarksOn says what keeps a rate from being taken as it stands.
func remarksOn(s *misfire.Summary, c *misfire.Cell) []string {
	var remarks []string
	add := func(is bool, words string) {
		if is {
			remarks = append(remarks, words)
		}
	}
	since := ""
	if !c.Since.IsZero() {
		since = " since " + Minutes(c.Since.Sub(s.Start))
	}
	add(c.Worsening, "worse"+since+", against its own earlier running")
	add(c.Judged && c.Phi > unwidened && c.Misses > 0, "misses come in bursts: limits widened as if there were "+Digits(c.Phi)+" times fewer of each")
	add(c.Still, "the counter stands still where it used to move: what ran since is left out")
	add(c.AtLeast, "the counter stood at its end: at least so many")
	add(c.Overcounted(), "more misses than firings: the engine speed or the cylinder map is wrong")
	add(!c.Apart && c.Mixed > 0, "shared out between gear states, which cannot be told apart yet")
	return remarks
}

// remarks writes what holds for the whole drive.
func (p *page) remarks(s *misfire.Summary) {
	lines := slices.Concat(say.English().Notes(s), LeftOut(s), AverageWords(s))
	if s.Counted() {
		lines = append(lines,
			"None seen is not none: there the true rate may still be as high as the upper limit says.",
			"A count that stands still may be a paused monitor; it does not prove good running.",
			"Mixed is the share of firings in stretches that span several gear states: shared out by likelihood, left out of comparisons.")
	}
	if slices.ContainsFunc(s.ByGear, unjudged) {
		lines = append(lines, "Where too little ran to tell whether the misses come in bursts, the limits are widened in case they do.")
	}
	for i, line := range lines {
		if i == 0 {
			p.gap()
		}
		p.paragraph("- ", line)
	}
}
