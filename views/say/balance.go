package say

import (
	"fmt"
	"math"

	"stumble/misfire/guide"
	"stumble/views/say/catalogue"
)

// BalanceVerdict tells what a cylinder's fall is worth.
func (w Words) BalanceVerdict(v guide.Verdict) string {
	keys := [...]catalogue.Key{"balance-not-cut", "balance-cannot-say", "balance-works", "balance-in-doubt", "balance-weak"}
	return w.tell(keys[v])
}

// Balance is one or two sentences on what a balance test showed.
func (w Words) Balance(r *guide.BalanceResult) string {
	median := Rounded(r.Median)
	switch r.Finding {
	case guide.NoneCut:
		return w.tell("balance-none-cut")
	case guide.TooFew:
		return w.tell("balance-too-few", guide.CompareLeast)
	case guide.TooShort:
		return w.tell("balance-too-short")
	case guide.NotFelt:
		return w.tell("balance-not-felt", median)
	}
	said := ""
	switch len(r.Weak) {
	case 0:
	case 1:
		said = w.weakness(r.Of(r.Weak[0]), median)
	default:
		said = w.tell("balance-weaker", w.Numbers(r.Weak), median)
	}
	if n := len(r.Doubtful); n > 0 {
		doubt := w.Count("balance-doubtful", float64(n), w.Cylinders(r.Doubtful), median)
		if said == "" {
			return doubt
		}
		return w.tell("join-sentences", said, doubt)
	}
	if said == "" {
		return w.tell("balance-even", median)
	}
	return said
}

// weakness tells how little work a weak cylinder gives.
func (w Words) weakness(c *guide.CutCylinder, median string) string {
	if c.Low < 0 {
		return w.tell("balance-unfelt", c.Cylinder, Rounded(c.High), median)
	}
	return w.tell("balance-weakest", c.Cylinder, Rounded(c.Drop), Rounded(c.Share), median)
}

// BalanceNotes are what a reader of a balance test must know, a sentence each.
func (w Words) BalanceNotes(r *guide.BalanceResult) []string {
	var notes []string
	if len(r.Left) > 0 {
		notes = append(notes, w.tell("balance-left", w.Cylinders(r.Left)))
	}
	if len(r.Alike) > 0 {
		notes = append(notes, w.tell("balance-alike", Capital(w.Cylinders(r.Alike))))
	}
	return append(notes, w.tell("balance-swing"), w.tell("balance-no-cause"), w.tell("balance-own-misses"))
}

// Cut names a cut on the screen: "cylinder 2, round 2".
func (w Words) Cut(s *guide.Status) string {
	name := w.tell("balance-name")
	if s.Cylinder > 0 {
		name = w.Cylinders([]int{s.Cylinder})
	}
	if s.Round > 1 {
		return w.tell("balance-round", name, s.Round)
	}
	return name
}

// PlugIn is the loud line of a cylinder that must be plugged in; empty while there is none.
func (w Words) PlugIn(s *guide.Status) string {
	switch {
	case s == nil || s.Ask != guide.AskPlugIn:
		return ""
	case s.Off >= guide.LongestOff:
		return w.tell("alert-plug-in-now", s.Cylinder, whole(s.Off.Seconds()))
	}
	return w.tell("alert-plug-in", s.Cylinder, whole(math.Ceil(s.Left.Seconds())))
}

// Enter is what the Enter key says to a guide; empty where it says nothing.
func (w Words) Enter(a guide.Ask) string {
	switch a {
	case guide.AskReady:
		return w.tell("enter-ready")
	case guide.AskUnplug:
		return w.tell("enter-unplugged")
	case guide.AskPlugIn:
		return w.tell("enter-plugged-in")
	}
	return ""
}

// withFalls adds the newest falls to what is asked, as one says them: "Falls so far: 1: 52, 2: 49 rpm."
func (w Words) withFalls(asked string, falls []guide.Fall) string {
	const most = 12 // as many as one row of a small screen holds
	falls = falls[max(len(falls)-most, 0):]
	words := make([]string, len(falls))
	for i, f := range falls {
		words[i] = fmt.Sprintf("%d: %s", f.Cylinder, Rounded(f.RPM))
	}
	if len(words) == 0 {
		return asked
	}
	return w.tell("balance-falls", asked, w.Commas(words))
}

// Asked is what a guide asks for now, as a sentence, with what was measured so far.
func (w Words) Asked(s *guide.Status) string {
	return w.withFalls(w.tell("join-sentence", Capital(w.Saying(s.Say))), s.Falls)
}

// CutCautions are what a cut warns of, one short line each.
func (w Words) CutCautions() []string { return []string{w.tell("caution-connector")} }
