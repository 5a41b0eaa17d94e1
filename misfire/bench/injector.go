package bench

import (
	"math"

	"stumble/misfire/rate"
)

const flowClear = " A right resistance says nothing of its flow."

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
	is, usual := figure(r.Value, r.Unit), band.band(r.Unit)
	switch {
	case r.Open():
		return band.says(Bad, "Open: broken winding or pin.")
	case r.Maker.Told():
		return byMaker(r)
	case r.Variant == "" && d.otherInjector(r.Value):
		return band.says(CannotSay, "%s fits a low-impedance or a direct injector; of the usual port type %s are right: tell which it is.", is, usual)
	case band.side(r.Value) < 0:
		return band.says(Bad, "%s is below the usual %s: shorted turns.", is, usual)
	case band.side(r.Value) > 0:
		return band.says(Bad, "%s is above the usual %s: corroded, or the winding breaks.", is, usual)
	}
	return band.says(Good, "%s is within the usual %s.%s", is, usual, flowClear)
}

// otherInjector reports whether a value fits one of the less usual types.
func (d *judging) otherInjector(v float64) bool {
	return d.rules[ruleInjectorLow].side(v) == 0 || d.rules[ruleInjectorDI].side(v) == 0
}

// injectorSet compares an injector with its siblings: the usual type within so many ohm, the others by the spread of
// the set.
func (d *judging) injectorSet(r *Reading) []Finding {
	all := values(d.siblings(r))
	middle := rate.Median(all)
	if r.Open() || len(all) < enoughSiblings {
		return nil
	}
	if d.rules[ruleInjectorHigh].side(middle) != 0 {
		return d.outlier(r)
	}
	rule := d.rules[ruleInjectorSib]
	if off := rounded(r.Value - middle); rule.side(off) != 0 {
		return []Finding{rule.says(Suspect, "%s is %s from the middle of the set, %s; siblings are within %s.",
			figure(r.Value, r.Unit), figure(math.Abs(off), r.Unit), figure(middle, r.Unit), digits(rule.high))}
	}
	return []Finding{rule.says(Good, "%s is in step with the set, whose middle is %s.", figure(r.Value, r.Unit), figure(middle, r.Unit))}
}

// judgeInjectorDrop compares the fall of pressure with the mean of the set.
func judgeInjectorDrop(d *judging, r *Reading) []Finding {
	var found []Finding
	if r.Maker.Told() {
		found = append(found, byMaker(r))
	}
	rule := d.rules[ruleInjectorDrop]
	all := values(d.siblings(r))
	if len(all) < enoughSiblings {
		return append(found, rule.says(CannotSay, "The drops are compared with each other: measure at least three."))
	}
	var mean float64
	for _, v := range all {
		mean += v / float64(len(all))
	}
	off := rounded(r.Value - mean)
	is := figure(r.Value, r.Unit)
	switch rule.side(off) {
	case -1:
		return append(found, rule.says(Suspect, "%s is %s less than the mean of the set, %s: clogged.", is, figure(-off, r.Unit), figure(mean, r.Unit)))
	case 1:
		return append(found, rule.says(Suspect, "%s is %s more than the mean of the set, %s: leaking or stuck.", is, figure(off, r.Unit), figure(mean, r.Unit)))
	}
	return append(found, rule.says(Good, "%s is within %s of the mean of the set, %s.", is, figure(rule.high, r.Unit), figure(mean, r.Unit)))
}
