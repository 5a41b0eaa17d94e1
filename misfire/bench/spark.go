package bench

import "strings"

// outcome is what a spark tester may show.
type outcome struct {
	word string
	mark Mark
	why  string
}

func sparkOutcomes() []outcome {
	return []outcome{
		{"good", Good, "It jumps the tester's gap now. That does not clear a fault that comes and goes: spark can still jump a broken wire at times, and load asks for more than a tester does."},
		{"weak", Suspect, "Thin or yellow: look at coil supply, wire and coil."},
		{"intermittent", Bad, "It fails at times: the ignition of this cylinder is at fault; wire, coil, then its supply and trigger."},
		{"none", Bad, "No spark: wire, coil, then its supply and trigger."},
	}
}

func outcomes() string {
	all := sparkOutcomes()
	names := make([]string, len(all))
	for i, o := range all {
		names[i] = o.word
	}
	return strings.Join(names, ", ")
}

// outcomeOf is the outcome that a text begins with; nil when none.
func outcomeOf(text string) *outcome {
	first, _, _ := strings.Cut(text, " ")
	first = strings.ToLower(strings.Trim(first, ",;:."))
	for _, o := range sparkOutcomes() {
		if o.word == first {
			return &o
		}
	}
	return nil
}

// judgeSpark judges a spark test, beside the wire of the same cylinder.
func judgeSpark(d *judging, r *Reading) []Finding {
	o := outcomeOf(r.Text)
	if o == nil {
		return nil
	}
	f := Finding{o.mark, o.why, ruleSpark, sourcePractice}
	wire := d.newest[key{part: Wire, quantity: Resistance, cylinder: r.Cylinder}]
	if o.mark == Good && wire != nil && wire.Value > d.rules[ruleWireOpen].low {
		f.Mark, f.Why = CannotSay, "A spark was seen though the wire reads open: it jumps the break for now, which clears nothing."
	}
	return []Finding{f}
}
