package bench

import "stumble/misfire/rate"

// judgeBalance compares the fall of speed as a cylinder is cut with the median of all: a cylinder whose cut is hardly
// felt gives little work.
func judgeBalance(d *judging, r *Reading) []Finding {
	rule := d.rules[ruleBalance]
	all := values(d.siblings(r))
	middle := rate.Median(all)
	if len(all) < enoughSiblings || middle <= 0 {
		return []Finding{rule.says(CannotSay, "The falls are compared with each other: measure at least three cylinders.")}
	}
	percent := 100 * r.Value / middle
	is := figure(r.Value, r.Unit) + " is " + share(percent) + " of the middle of all, " + figure(middle, r.Unit)
	switch {
	case rule.side(percent) >= 0:
		return []Finding{rule.says(Good, "%s.", is)}
	case rule.side(100*(r.Value+r.Margin)/middle) < 0:
		return []Finding{rule.says(Bad, "%s, under %s: this cylinder gives little work. The cut names the cylinder, not the cause.", is, digits(rule.low))}
	}
	return []Finding{rule.says(Suspect, "%s, under %s, but its limits reach above: it cannot be told for sure; repeat it.", is, digits(rule.low))}
}
