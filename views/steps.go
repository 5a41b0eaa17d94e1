package views

import (
	"fmt"
	"io"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/misfire/steps"
	"stumble/views/say"
)

// NewStep is a guided step as the screen shows it; nil when none runs.
func NewStep(s *steps.Status) *Step {
	if s == nil {
		return nil
	}
	step := &Step{Number: s.Number, Of: s.Of, Name: s.Step.Name, Instruction: sentence(s.Say),
		Left: s.Left, Length: s.Length, Done: s.Done, Needed: s.Needed}
	if !s.In && s.Ask == steps.AskCondition {
		step.Cautions = s.Step.Cautions
	}
	return step
}

// sentence begins with a capital and ends with a full stop.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// StepWords is an event of a guided test as lines to be read aloud, without the last line's end.
func StepWords(e steps.Event) string {
	left := " ... " + clockOf(e.Left)
	switch e.Kind {
	case steps.Begun, steps.Repeated:
		first := fmt.Sprintf("NEXT: %s%s (step %d of %d, %s)", e.Text, left, e.Number, e.Of, e.Step.Name)
		if e.Kind == steps.Repeated {
			first = "AGAIN" + strings.TrimPrefix(first, "NEXT")
		}
		return strings.Join(append([]string{first}, labelled("CAUTION: ", e.Step.Cautions)...), "\n")
	case steps.Asked:
		return "NOW: " + e.Text
	case steps.Held:
		return "HOLD: " + e.Text + left
	case steps.Ended:
		return "DONE: " + e.Step.Name + ", " + e.Text
	case steps.Skipped:
		return "SKIPPED: " + e.Step.Name
	case steps.Broken:
		return "BREAK OFF: " + e.Text
	}
	return "END: " + e.Text
}

func labelled(label string, lines []string) []string {
	out := make([]string, len(lines))
	for i, line := range lines {
		out[i] = label + line
	}
	return out
}

// clockOf writes a length of time as one says it: "1:20".
func clockOf(d time.Duration) string {
	s := int((d + time.Second/2) / time.Second)
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// StepMark is an event as the mark that it leaves in the drive; empty when it leaves none.
func StepMark(e steps.Event) string {
	switch e.Kind {
	case steps.Asked, steps.Held:
		return ""
	case steps.Over:
		return "test over: " + e.Text
	}
	return "step " + e.Step.Key + " " + strings.ReplaceAll(e.Kind.String(), "_", " ")
}

const stepsHead = "step              outcome        time  firings  cyl  misses    rate  limits\n"

// WriteSteps writes what each step of a guided test showed, as text of at most 80 columns: the cylinders that missed
// there, and those that the drive accuses. The error is w's.
func WriteSteps(w io.Writer, s *misfire.Summary, results []steps.Result, notes []string) error {
	var p page
	p.gap()
	p.paragraph("", "By step: time in its condition while it ran, and the misses per 1,000 firings of all running of this drive in "+
		"that condition, for every cylinder that missed there or stands out.")
	p.gap()
	p.WriteString(stepsHead)
	for i := range results {
		p.step(s, &results[i])
	}
	for i, note := range notes {
		if i == 0 {
			p.gap()
		}
		p.paragraph("- ", note)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// step writes one step: a line for each cylinder worth a word, at least one.
func (p *page) step(s *misfire.Summary, r *steps.Result) {
	head := fmt.Sprintf("%-16s  %-11s%8s", r.Step.Name, r.Outcome, clockOf(r.In))
	lines := 0
	for _, c := range r.Cells {
		if !c.Reported || c.Misses < 0.5 && !accused(s, c.Cylinder) {
			continue
		}
		cell := misfire.Cell{Estimate: c.Estimate}
		fmt.Fprintf(p, "%-37s%9s%5d%8s%8s  %s\n", head, say.Grouped(c.Firings), c.Cylinder, say.Grouped(c.Misses), Digits(c.Rate), perThousand.Limits(&cell))
		head = ""
		lines++
	}
	if lines == 0 {
		fmt.Fprintf(p, "%-37s%s\n", head, clean(r.Cells))
	}
	if r.Remark != "" {
		p.paragraph("  ", r.Remark)
	}
}

func accused(s *misfire.Summary, cylinder int) bool {
	for _, c := range s.Verdict.Named() {
		if c == cylinder {
			return true
		}
	}
	return false
}

// clean is what to say of a step in which no cylinder missed.
func clean(cells []steps.Count) string {
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
