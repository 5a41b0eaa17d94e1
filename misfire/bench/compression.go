package bench

import (
	"math"
	"slices"
)

// judgeCompression judges a compression as found: by itself and as a share of the best cylinder's.
func judgeCompression(d *judging, r *Reading) []Finding {
	found := []Finding{d.pressed(r)}
	if r.Maker.Told() {
		found = []Finding{byMaker(r)}
	}
	return append(found, d.ratio(r)...)
}

// pressed judges the pressure by itself.
func (d *judging) pressed(r *Reading) Finding {
	floor, usual := d.rules[ruleFloor], d.rules[ruleUsual]
	is := figure(r.Value, r.Unit)
	switch {
	case floor.side(r.Value) < 0:
		return floor.says(Bad, "%s is below %s: too low to fire reliably.", is, figure(floor.low, r.Unit))
	case usual.side(r.Value) < 0:
		return usual.says(Suspect, "%s is below the usual %s: was the throttle open, the battery full, the engine warm?", is, usual.band(r.Unit))
	case usual.side(r.Value) > 0:
		return usual.says(Suspect, "%s is above the usual %s: oil or carbon in the cylinder, or the gauge.", is, usual.band(r.Unit))
	}
	return usual.says(Good, "%s is within the usual %s.", is, usual.band(r.Unit))
}

// ratio compares a cylinder with the best.
func (d *judging) ratio(r *Reading) []Finding {
	all := values(d.siblings(r))
	if len(all) < 2 {
		return nil
	}
	best := slices.Max(all)
	if best <= 0 {
		return nil
	}
	rule, lenient := d.rules[ruleRatio], d.rules[ruleRatioLenient]
	percent := 100 * r.Value / best
	is := share(percent) + " of the best cylinder's " + figure(best, r.Unit)
	switch {
	case lenient.side(percent) < 0:
		return []Finding{lenient.says(Bad, "%s, under %s: mechanical fault in this cylinder.", is, figure(lenient.low, "%"))}
	case rule.side(percent) < 0:
		return []Finding{rule.says(Suspect, "%s, under %s, though some makers allow %s: likely a mechanical fault in this cylinder.", is, figure(rule.low, "%"), digits(lenient.low))}
	}
	return []Finding{rule.says(Good, "%s, at least %s.", is, figure(rule.low, "%"))}
}

// judgeOiled judges what oil did to a low compression. It tells where the loss is, not whether there is one.
func judgeOiled(d *judging, r *Reading) []Finding {
	rule := d.rules[ruleOil]
	dry := d.newest[key{part: Compression, quantity: Dry, cylinder: r.Cylinder}]
	if dry == nil || dry.Value <= 0 || math.IsNaN(dry.Value) {
		return []Finding{rule.says(CannotSay, "The compression of cylinder %d without oil is missing: enter it first.", r.Cylinder)}
	}
	rise := 100 * (r.Value - dry.Value) / dry.Value
	is := "With oil it changes by " + share(rise)
	if low := judged(dry, judgeCompression(d, dry)); low.Mark < Suspect {
		return []Finding{rule.says(Good, "%s; it was not low without.", is)}
	}
	if rule.side(rise) > 0 {
		return []Finding{rule.says(Bad, "%s, more than %s: oil seals it, so the rings leak.", is, digits(rule.high))}
	}
	return []Finding{rule.says(Bad, "%s, not more than %s: oil does not seal it, so a valve or the head gasket leaks.", is, digits(rule.high))}
}

func judgeCrankSpeed(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleCrankSpeed, Suspect, "a compression measured at this speed does not compare; battery charger on, even speed for every cylinder")
}

// judgeLeakDown judges the leakage by itself and against the tightest cylinder.
func judgeLeakDown(d *judging, r *Reading) []Finding {
	found := []Finding{d.leaked(r)}
	if r.Maker.Told() {
		found = []Finding{byMaker(r)}
	}
	all := values(d.siblings(r))
	if len(all) < 2 {
		return found
	}
	spread := d.rules[ruleLeakSpread]
	if over := rounded(r.Value - slices.Min(all)); spread.side(over) > 0 {
		found = append(found, spread.says(Suspect, "%s points more than the tightest cylinder, over %s: suspect even inside the limit.", digits(over), digits(spread.high)))
	}
	return found
}

func (d *judging) leaked(r *Reading) Finding {
	good, fair, bad := d.rules[ruleLeakGood], d.rules[ruleLeakFair], d.rules[ruleLeakBad]
	is := figure(r.Value, r.Unit)
	const where = "listen where the air leaves: throttle is inlet valve, tailpipe is exhaust valve, oil filler is rings, bubbles in the coolant are gasket or head"
	switch {
	case bad.side(r.Value) > 0:
		return bad.says(Bad, "%s is above %s: ignition or fuel parts will not cure this cylinder; %s.", is, digits(bad.high), where)
	case fair.side(r.Value) > 0:
		return fair.says(Suspect, "%s is above %s; %s.", is, digits(fair.high), where)
	case good.side(r.Value) > 0:
		return fair.says(Good, "%s is acceptable, up to %s.", is, digits(fair.high))
	}
	return good.says(Good, "%s: a sound cylinder, up to %s.", is, digits(good.high))
}
