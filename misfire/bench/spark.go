package bench

import "strings"

// sparkOutcomes are what a spark tester may show; a text begins with one of them.
func sparkOutcomes() []look {
	return []look{
		{"good", Good, SparkGood, nil},
		{"weak", Suspect, SparkWeak, nil},
		{"intermittent", Bad, SparkAtTimes, nil},
		{"none", Bad, SparkNone, nil},
	}
}

// outcomeOf is the outcome that a text begins with; nil when none.
func outcomeOf(text string) *look {
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
	f := Finding{Mark: o.mark, Says: o.says, Rule: ruleSpark, Source: sourcePractice}
	wire := d.newest[key{part: Wire, quantity: Resistance, cylinder: r.Cylinder}]
	if o.mark == Good && wire != nil && max(wire.Value, wire.To) > d.rules[ruleWireOpen].low {
		f.Mark, f.Says = CannotSay, SparkOverBreak
	}
	return []Finding{f}
}
