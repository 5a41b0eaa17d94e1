package views

import (
	"fmt"
	"io"
	"math"
	"slices"
	"stumble/misfire"
	"stumble/misfire/guide"
	"stumble/views/say"
)

// sayings are what a guide has to tell, in words; never nil.
func sayings(words say.Words, all []guide.Saying) []string {
	said := make([]string, len(all))
	for i := range all {
		said[i] = words.Saying(all[i])
	}
	return said
}

const stepsHead = "step              outcome        time  firings  cyl  misses    rate  limits\n"

// WriteSteps writes what each step of a guided test showed, as text of at most 80 columns: the cylinders that missed
// there, and those that the drive accuses. The error is w's.
func WriteSteps(w io.Writer, s *misfire.Summary, results []guide.StepResult, notes []guide.Saying) error {
	var p page
	p.gap()
	p.paragraph("", "By step: time in its condition while it ran, and the misses per 1,000 firings of that running alone, "+
		"for every cylinder that missed in it or stands out.")
	p.gap()
	p.WriteString(stepsHead)
	for i := range results {
		p.step(s, &results[i])
	}
	for i, note := range sayings(say.English(), notes) {
		if i == 0 {
			p.gap()
		}
		p.paragraph("- ", note)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// step writes one step: a line for each cylinder worth a word, at least one.
func (p *page) step(s *misfire.Summary, r *guide.StepResult) {
	words := say.English()
	head := fmt.Sprintf("%-16s  %-11s%8s", words.StepName(r.Step), words.StepOutcome(r.Outcome), say.Clock(r.In))
	lines := 0
	for _, c := range r.Counts {
		if !c.Reported || c.Misses < 0.5 && !accused(s, c.Cylinder) {
			continue
		}
		cell := misfire.Cell{Estimate: c.Estimate}
		fmt.Fprintf(p, "%-37s%9s%5d%8s%8s  %s\n", head, say.Grouped(c.Firings), c.Cylinder, say.Grouped(c.Misses),
			Digits(c.Rate), perThousand.Limits(&cell))
		head = ""
		lines++
	}
	if lines == 0 {
		fmt.Fprintf(p, "%-37s%s\n", head, clean(r.Counts))
	}
	if remark := words.Saying(r.Remark); remark != "" {
		p.paragraph("  ", remark)
	}
}

func accused(s *misfire.Summary, cylinder int) bool {
	return slices.Contains(s.Verdict.Named(), cylinder)
}

// clean is what to say of a step in which no cylinder missed.
func clean(cells []guide.StepCount) string {
	for _, c := range cells {
		if c.Reported {
			return fmt.Sprintf("%9s  none missed; each still under %s", say.Grouped(c.Firings), brief(c.High))
		}
	}
	return ""
}

// WriteCautions writes what must be read before a test, as text of at most 80 columns. The error is w's.
func WriteCautions(w io.Writer, lines []string) error {
	var p page
	p.paragraph("", "BEFORE THE FIRST STEP")
	for _, line := range lines {
		p.paragraph("! ", line)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

const balanceHead = "cyl  cuts  fall, rpm  as low as  as high as  of the middle\n"

// WriteBalance writes what a balance test showed, as text of at most 80 columns. The error is w's.
func WriteBalance(w io.Writer, r *guide.BalanceResult) error {
	var p page
	words := say.English()
	p.paragraph("", words.Balance(r))
	p.gap()
	if !math.IsNaN(r.Base) {
		p.paragraph("", fmt.Sprintf("Fall of the idle of %s rpm as each cylinder was cut, with 95 %% limits.", say.Rounded(r.Base)))
		p.gap()
	}
	p.WriteString(balanceHead)
	for i := range r.Cylinders {
		p.balanceLine(&r.Cylinders[i])
	}
	p.gap()
	for _, note := range words.BalanceNotes(r) {
		p.paragraph("- ", note)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

func (p *page) balanceLine(c *guide.CutCylinder) {
	line := fmt.Sprintf("%3d%6d", c.Cylinder, c.Cuts)
	if c.Cuts > 0 {
		line += fmt.Sprintf("%11s%11s%12s", say.Rounded(c.Drop), say.Rounded(c.Low), say.Rounded(c.High))
		share := "-"
		if !math.IsNaN(c.Share) {
			share = say.Rounded(c.Share) + " %"
		}
		line += fmt.Sprintf("%15s", share)
	}
	p.WriteString(line + "  " + say.English().BalanceVerdict(c.Verdict) + "\n")
}
