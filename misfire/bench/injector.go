package bench

import (
	"math"

	"stumble/misfire/rate"
)

// judgeInjector judges the resistance of an injector's coil.
func judgeInjector(d *judging, r *Reading) []Finding {
	return append([]Finding{d.injector(r)}, d.injectorSet(r)...)
}

func (d *judging) injector(r *Reading) Finding {
	band := d.rules[ruleInjectorHigh]
	switch r.Variant {
	case LowImpedance:
		band = d.rules[ruleInjectorLow]
	case Direct:
		band = d.rules[ruleInjectorDI]
	}
	is, usual := r.is(), band.band(r.Unit)
	others := values(d.others(r))
	amongHigh := len(others)+1 >= enoughSiblings && d.rules[ruleInjectorHigh].side(rate.Median(others)) == 0
	switch {
	case r.Open():
		return band.says(Bad, InjectorOpen)
	case r.Maker.Told():
		return byMaker(r)
	case r.Variant == "" && amongHigh && band.side(r.Value) < 0:
		return band.says(Bad, InjectorAlone, is, number(rate.Median(others), r.Unit))
	case r.Variant == "" && d.otherInjector(r.Value):
		return band.says(CannotSay, InjectorOtherType, is, usual)
	case r.Variant == "" && r.Value > classLow && r.Value < classHigh && !amongHigh:
		return d.rules[limitClasses].says(CannotSay, InjectorNeither, is)
	case band.side(r.Value) < 0:
		return band.says(Bad, InjectorShort, is, usual)
	case band.side(r.Value) > 0:
		return band.says(Bad, InjectorHigh, is, usual)
	}
	return band.says(Good, Within, is, usual).with(FlowUnknown)
}

// Between these a port injector is of neither class, ohm: limits.csv says so in words.
const classLow, classHigh = 4, 10

// otherInjector reports whether a value fits one of the less usual types.
func (d *judging) otherInjector(v float64) bool {
	return d.rules[ruleInjectorLow].side(v) == 0 || d.rules[ruleInjectorDI].side(v) == 0
}

// injectorSet compares an injector with its siblings: the usual type within so many ohm, the others by the spread of
// the set.
func (d *judging) injectorSet(r *Reading) []Finding {
	all := values(d.others(r))
	middle := rate.Median(all)
	if r.Open() || len(all)+1 < enoughSiblings {
		return nil
	}
	if d.rules[ruleInjectorHigh].side(middle) != 0 {
		return d.outlier(r)
	}
	rule := d.rules[ruleInjectorSib]
	if off := rounded(r.Value - middle); rule.side(off) != 0 {
		about := []Figure{r.is(), apart(math.Abs(off), r.Unit), number(middle, r.Unit), number(rule.high, "")}
		return []Finding{rule.says(Suspect, InjectorOff, about...)}
	}
	return []Finding{rule.says(Good, InjectorInStep, r.is(), number(middle, r.Unit))}
}

// dropFar is how far from the mean a drop is bad, kPa: two of the texts that the limit is from allow that much.
const dropFar = 20

// judgeInjectorDrop compares the fall of pressure with the mean of the set.
func judgeInjectorDrop(d *judging, r *Reading) []Finding {
	var found []Finding
	if r.Maker.Told() {
		found = append(found, byMaker(r))
	}
	rule, far := d.rules[ruleInjectorDrop], d.rules[limitDrop]
	all := values(d.siblings(r))
	if len(all) < enoughSiblings {
		return append(found, rule.says(CannotSay, DropFew))
	}
	var mean float64
	for _, v := range all {
		mean += v / float64(len(all))
	}
	off := rounded(r.Value - mean)
	mark := Suspect
	if sideOf(off, -dropFar, dropFar) != 0 {
		mark, rule = Bad, far
	}
	about := []Figure{r.is(), apart(math.Abs(off), r.Unit), number(mean, r.Unit)}
	switch rule.side(off) {
	case -1:
		return append(found, rule.says(mark, DropLess, about...))
	case 1:
		return append(found, rule.says(mark, DropMore, about...))
	}
	about[1] = apart(rule.high, r.Unit)
	return append(found, rule.says(Good, DropGood, about...))
}
