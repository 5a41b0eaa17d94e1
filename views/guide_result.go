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

// TestSummaryObject is the summary of a guided test: that of the drive, and its steps.
type TestSummaryObject struct {
	SummaryObject
	Steps     []StepResultObject `json:"steps"`
	StepNotes []string           `json:"step_notes"`
}

// StepResultObject is what became of one step.
type StepResultObject struct {
	Step      string            `json:"step"` // its key
	Name      string            `json:"name"`
	Outcome   string            `json:"outcome"` // "done", "left_out", "broken_off", "stopped", "not_reached"
	Seconds   Number            `json:"seconds"` // in the condition, while the step ran
	Firings   Number            `json:"firings"` // of each cylinder in that time
	Needed    Number            `json:"firings_needed"`
	Remark    Word              `json:"remark"`
	Cylinders []StepCountObject `json:"cylinders"` // of the running in the step's condition, while it ran
}

// StepCountObject is one cylinder in a step's condition.
type StepCountObject struct {
	Cylinder int    `json:"cylinder"`
	Reported bool   `json:"reported"`
	Misses   Number `json:"misses"`
	Firings  Number `json:"firings"`
	Rate     Number `json:"rate"` // per 1,000 firings, with 95 % limits
	Low      Number `json:"low"`
	High     Number `json:"high"`
}

// NewTestSummary is the summary of a guided test as an object.
func NewTestSummary(s *State, results []guide.StepResult, notes []guide.Saying) TestSummaryObject {
	words := say.English()
	o := TestSummaryObject{NewSummary(s), make([]StepResultObject, len(results)), sayings(words, notes)}
	for i := range results {
		r := &results[i]
		o.Steps[i] = StepResultObject{
			Step: r.Step.Key, Name: words.StepName(r.Step), Outcome: r.Outcome.String(),
			Seconds: Number(r.In.Seconds()), Firings: Number(r.Firings), Needed: Number(r.Needed), Remark: Word(words.Saying(r.Remark)),
			Cylinders: make([]StepCountObject, len(r.Counts)),
		}
		for k, c := range r.Counts {
			n := StepCountObject{c.Cylinder, c.Reported, Number(c.Misses), Number(c.Firings), Number(c.Rate), Number(c.Low), Number(c.High)}
			if !c.Reported {
				n.Misses, n.Rate, n.Low, n.High = unknown(), unknown(), unknown(), unknown()
			}
			o.Steps[i].Cylinders[k] = n
		}
	}
	return o
}

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
			digits(c.Rate), perThousand.limits(&cell))
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
	return slices.Contains(s.Verdict.Cylinders, cylinder)
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

// BalanceObject is what a balance test showed: {"kind":"balance",...}.
type BalanceObject struct {
	Kind      string                  `json:"kind"`
	Sentence  string                  `json:"sentence"`
	Weak      []int                   `json:"weak"` // cylinders that give little work, the weakest first
	Doubtful  []int                   `json:"doubtful"`
	Base      Number                  `json:"idle_rpm"` // before the last cut
	Median    Number                  `json:"median_drop"`
	Chance    Number                  `json:"chance"` // how far one fall is off by chance, a standard deviation
	Cylinders []BalanceCylinderObject `json:"cylinders"`
	Notes     []string                `json:"notes"`
}

// BalanceCylinderObject is one cylinder of a balance test. Falls in rpm, shares in percent of the median fall, each with
// its 95 % limits.
type BalanceCylinderObject struct {
	Cylinder  int           `json:"cylinder"`
	Verdict   guide.Verdict `json:"verdict"` // "not_cut", "cannot_say", "works", "in_doubt", "gives_little_work"
	Cuts      int           `json:"cuts"`
	Drop      Number        `json:"drop"`
	Low       Number        `json:"low"`
	High      Number        `json:"high"`
	Share     Number        `json:"share"`
	ShareLow  Number        `json:"share_low"`
	ShareHigh Number        `json:"share_high"`
}

// NewBalance returns what a balance test showed, as an object.
func NewBalance(r *guide.BalanceResult) BalanceObject {
	words := say.English()
	o := BalanceObject{Kind: "balance", Sentence: words.Balance(r), Weak: list(r.Weak), Doubtful: list(r.Doubtful), Base: Number(r.Base),
		Median: Number(r.Median), Chance: Number(r.Chance), Cylinders: []BalanceCylinderObject{}, Notes: words.BalanceNotes(r)}
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		o.Cylinders = append(o.Cylinders, BalanceCylinderObject{c.Cylinder, c.Verdict, c.Cuts, Number(c.Drop), Number(c.Low), Number(c.High),
			Number(c.Share), Number(c.ShareLow), Number(c.ShareHigh)})
	}
	return o
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
