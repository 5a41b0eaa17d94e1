package views

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"stumble/misfire/balance"
)

// NewBalanceStep is a balance test as the screen shows it; nil when none runs.
func NewBalanceStep(s *balance.Status) *Step {
	if s == nil {
		return nil
	}
	step := &Step{Number: max(s.Number, 1), Of: s.Of, Name: "balance test", Instruction: sentence(s.Say), Left: s.Left, Length: s.Length}
	if s.Cylinder > 0 {
		step.Name = fmt.Sprintf("cylinder %d", s.Cylinder)
	}
	if s.Round > 1 {
		step.Name += fmt.Sprintf(", round %d", s.Round)
	}
	if falls := fallWords(s.Falls); falls != "" {
		step.Instruction += " Falls so far: " + falls + " rpm."
	}
	switch s.Ask {
	case balance.AskReady:
		step.Enter = "goes on"
	case balance.AskUnplug:
		step.Enter = "unplugged"
		step.Cautions = []string{"the injector's connector, never a plug wire; hands clear of fan and belts"}
	case balance.AskPlugIn:
		step.Enter = "plugged in"
	}
	return step
}

// fallWords are the falls as one says them: "1: 52, 2: 49".
func fallWords(falls []balance.Fall) string {
	const most = 12 // as many as one row of a small screen holds
	words := make([]string, len(falls))
	for i, f := range falls {
		words[i] = fmt.Sprintf("%d: %s", f.Cylinder, wholeNumber(f.RPM))
	}
	if n := len(words); n > most {
		words = words[n-most:]
	}
	return strings.Join(words, ", ")
}

// BalanceAlert is the loud line of a cylinder that is off; empty while none must be plugged in.
func BalanceAlert(s *balance.Status) string {
	switch {
	case s == nil || s.Ask != balance.AskPlugIn:
		return ""
	case s.Off >= balance.Limit:
		return fmt.Sprintf("PLUG CYLINDER %d IN NOW: off for %.0f s, too long", s.Cylinder, s.Off.Seconds())
	}
	return fmt.Sprintf("PLUG CYLINDER %d IN AGAIN: %.0f s left", s.Cylinder, math.Ceil(s.Left.Seconds()))
}

// BalanceSecond is the second that a cylinder has been off that must be plugged in, from 1; 0 while there is none.
func BalanceSecond(s *balance.Status) int {
	if BalanceAlert(s) == "" {
		return 0
	}
	return int(s.Off.Seconds()) + 1
}

// BalanceWords is an event of a balance test as a line to be read aloud, without its end.
func BalanceWords(e balance.Event) string {
	switch e.Kind {
	case balance.Counted:
		return "  " + e.Text + " ..."
	case balance.Late:
		return "TOO LONG: " + e.Text
	case balance.Measured:
		return "FALL: " + e.Text
	case balance.Void:
		return "VOID: " + e.Text
	case balance.Skipped:
		return "SKIPPED: " + e.Text
	case balance.Over:
		return "END: " + e.Text
	}
	left := ""
	if e.Left > 0 {
		left = " ... " + clockOf(e.Left)
	}
	switch e.Ask {
	case balance.AskUnplug:
		which := fmt.Sprintf(" (cut %d of %d)", e.Number, e.Of)
		if e.Round > 1 {
			which = fmt.Sprintf(" (cut %d of %d, round %d)", e.Number, e.Of, e.Round)
		}
		return "NOW: " + e.Text + which
	case balance.AskPlugIn:
		return fmt.Sprintf("PLUG IN AGAIN: %s ... %.0f seconds left", e.Text, math.Ceil(e.Left.Seconds()))
	case balance.AskReady:
		return "FIRST: " + e.Text
	case balance.AskHold:
		return "HOLD: " + e.Text
	}
	return "WAIT: " + e.Text + left
}

const balanceHead = "cyl  cuts  fall, rpm  as low as  as high as  of the middle\n"

// WriteBalance writes what a balance test showed, as text of at most 80 columns. The error is w's.
func WriteBalance(w io.Writer, r *balance.Result) error {
	var p page
	p.paragraph("", r.Sentence)
	p.gap()
	if !math.IsNaN(r.Base) {
		p.paragraph("", fmt.Sprintf("Fall of the idle of %s rpm as each cylinder was cut, with 95 %% limits.", wholeNumber(r.Base)))
		p.gap()
	}
	p.WriteString(balanceHead)
	for i := range r.Cylinders {
		p.balanceLine(&r.Cylinders[i])
	}
	p.gap()
	for _, note := range r.Notes {
		p.paragraph("- ", note)
	}
	_, err := io.WriteString(w, p.String())
	return err
}

func (p *page) balanceLine(c *balance.Cylinder) {
	line := fmt.Sprintf("%3d%6d", c.Cylinder, c.Cuts)
	if c.Cuts > 0 {
		line += fmt.Sprintf("%11s%11s%12s", wholeNumber(c.Drop), wholeNumber(c.Low), wholeNumber(c.High))
		share := "-"
		if !math.IsNaN(c.Share) {
			share = wholeNumber(c.Share) + " %"
		}
		line += fmt.Sprintf("%15s", share)
	}
	p.WriteString(line + "  " + c.Verdict.String() + "\n")
}

// wholeNumber is a number without digits after the point, below zero too.
func wholeNumber(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "-"
	}
	return strconv.FormatFloat(math.Round(v)+0, 'f', 0, 64)
}
