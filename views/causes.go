package views

import (
	"fmt"
	"io"
	"strings"

	"stumble/misfire/cause"
)

// Causes is all there is to tell of what may be behind a misfire.
type Causes struct {
	Job      int64  // 0: of no job
	Drives   string // which drives it rests on, in words; empty for none
	Ignition cause.Ignition
	Result   *cause.Result
}

// causesTold is how many causes are told with their reasons; the rest are named with their share.
const causesTold = 3

// reasonsTold is how many reasons of a cause are told each way.
const reasonsTold = 4

// WriteCauses writes ranked causes as text of at most 80 columns: the sentence, each cause with what speaks for and
// against it and what would overturn it, the next test, and what a reader must know. The error is w's.
func WriteCauses(w io.Writer, c *Causes) error {
	p := &causesPage{Causes: c}
	p.paragraph("", c.Result.Sentence)
	if len(c.Result.Ranked) > 0 {
		p.ranked()
		p.next()
	}
	p.remarks()
	_, err := io.WriteString(w, strings.Map(printableLines, p.String()))
	return err
}

// causesPage is being written.
type causesPage struct {
	page
	*Causes
}

func (p *causesPage) ranked() {
	p.gap()
	for i := range p.Result.Ranked {
		r := &p.Result.Ranked[i]
		if i >= causesTold || r.Share < 0.02 {
			p.rest(p.Result.Ranked[i:])
			return
		}
		p.paragraph(sharePercent(r.Share)+"  ", r.Title())
		p.reasons("      for      ", r.For, because)
		p.reasons("      against  ", r.Against, although)
		p.paragraph("      overturn ", r.Overturn)
	}
}

// rest names what is left, as long as it is worth naming.
func (p *causesPage) rest(left []cause.Ranked) {
	var words []string
	for i := range left {
		if left[i].Share >= 0.005 {
			words = append(words, fmt.Sprintf("%s %.0f %%", left[i].Name, 100*left[i].Share))
		}
	}
	if len(words) > 0 {
		p.paragraph(" less ", strings.Join(words, ", "))
	}
}

func because(r *cause.Reason) string { return r.Fact + ": " + r.Why }

func although(r *cause.Reason) string {
	usual := "less usual with it"
	if r.Expected != "" {
		usual = "more usual with it: " + r.Expected
	}
	return fmt.Sprintf("%s; %s (%s)", r.Fact, usual, r.Why)
}

func (p *causesPage) reasons(label string, reasons []cause.Reason, words func(*cause.Reason) string) {
	for i := range reasons[:min(reasonsTold, len(reasons))] {
		p.paragraph(label, words(&reasons[i]))
		label = strings.Repeat(" ", width(label))
	}
}

func sharePercent(share float64) string {
	return fmt.Sprintf("%3.0f %%", 100*share)
}

func (p *causesPage) next() {
	t := p.Result.Next
	if t == nil {
		return
	}
	p.gap()
	p.paragraph("next test ", fmt.Sprintf("%s; about %.0f minutes", t.Name, t.Minutes))
	p.paragraph("  how     ", t.How)
	p.paragraph("  reading ", t.Decides)
	var outcomes []string
	for _, o := range t.Outcomes {
		outcomes = append(outcomes, fmt.Sprintf("%s (%.0f %%) would leave %s at %.0f %%", o.Key, 100*o.Share, o.Leads, 100*o.Then))
	}
	p.paragraph("  tells   ", strings.ReplaceAll(strings.Join(outcomes, "; "), "_", " "))
	label := "  CAUTION "
	for _, c := range t.Cautions {
		p.paragraph(label, c)
		label = strings.Repeat(" ", width(label))
	}
	var others []string
	for _, o := range p.Result.Others {
		others = append(others, fmt.Sprintf("%s (%.0f minutes)", o.Name, o.Minutes))
	}
	if len(others) > 0 {
		p.paragraph("or        ", strings.Join(others, "; "))
	}
}

// remarks are the tests made, the drives and what a reader must know.
func (p *causesPage) remarks() {
	var lines []string
	for _, f := range p.Result.Done {
		lines = append(lines, "made: "+f.Text)
	}
	lines = append(lines, p.Result.Notes...)
	if p.Drives != "" {
		lines = append(lines, "from "+p.Drives)
	}
	if len(p.Result.Ranked) > 0 {
		lines = append(lines, "shares rank what to test; they are judgement in numbers, not measured: no part is proven until its test proves it")
	}
	if len(lines) == 0 {
		return
	}
	p.gap()
	for _, line := range lines {
		p.paragraph("- ", line)
	}
}

// WriteCausesBrief writes causes in short, for the end of something else; nothing when there is nothing to explain. The
// error is w's.
func WriteCausesBrief(w io.Writer, r *cause.Result) error {
	if r == nil || len(r.Ranked) == 0 {
		return nil
	}
	var p page
	p.gap()
	p.paragraph("", r.Sentence)
	_, err := io.WriteString(w, p.String())
	return err
}
