package bench

import "stumble/misfire/rate"

// judgeBalance compares the fall of speed as a cylinder is cut with the median of all: a cylinder whose cut is hardly
// felt gives little work.
func judgeBalance(d *judging, r *Reading) []Finding {
	rule := d.rules[ruleBalance]
	all := values(d.siblings(r))
	middle := rate.Median(all)
	if len(all) < enoughSiblings || middle <= 0 {
		return []Finding{rule.says(CannotSay, BalanceFew)}
	}
	percent := 100 * r.Value / middle
	about := []Figure{r.is(), share(percent), number(middle, r.Unit)}
	switch {
	case rule.side(percent) >= 0:
		return []Finding{rule.says(Good, BalanceGood, about...)}
	case rule.side(100*(r.Value+r.Margin)/middle) < 0:
		return []Finding{rule.says(Bad, BalanceBad, append(about, number(rule.low, ""))...)}
	}
	return []Finding{rule.says(Suspect, BalanceDoubt, append(about, number(rule.low, ""))...)}
}
