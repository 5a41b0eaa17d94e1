package bench

func judgeFuelPressure(d *judging, r *Reading) []Finding {
	band := d.rules[rulePressure]
	if !r.Maker.Told() && r.Value > farAbove*band.high {
		return []Finding{band.says(CannotSay, "%s is that of a direct-injection rail: only the maker's figure judges it.", figure(r.Value, r.Unit))}
	}
	return d.limit(r, rulePressure, Suspect, "below: pump, filter or regulator; above: regulator or return; look up the maker's figure")
}

func judgeHold(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleHold, Bad, "leaking injector, check valve or regulator")
}

func judgeResting(d *judging, r *Reading) []Finding {
	band := d.rules[ruleResting]
	if !r.Maker.Told() && band.side(r.Value) > 0 {
		return []Finding{band.says(CannotSay, "%s is above %s: not at rest yet, or on a charger; measure an hour after running.", figure(r.Value, r.Unit), figure(band.high, r.Unit))}
	}
	return d.limit(r, ruleResting, Suspect, "charge it before any other test")
}

func judgeCranking(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleCranking, Bad, "no ignition or injector reading can be trusted; battery, cables or starter first")
}

// managed is how far a managed alternator may wander, V: rules.csv says so in words.
var managed = [2]float64{12.2, 15.2}

func judgeCharging(d *judging, r *Reading) []Finding {
	band := d.rules[ruleCharging]
	is := figure(r.Value, r.Unit)
	switch {
	case r.Maker.Told() || band.side(r.Value) == 0:
		return d.limit(r, ruleCharging, Bad, "")
	case sideOf(r.Value, managed[0], managed[1]) == 0:
		return []Finding{band.says(Suspect, "%s is outside the usual %s; a managed alternator may wander from %s.", is, band.band(r.Unit), bandInWords(managed[0], managed[1], r.Unit))}
	}
	return []Finding{band.says(Bad, "%s is outside the usual %s, and outside what a managed alternator wanders.", is, band.band(r.Unit))}
}

func judgeGround(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleGround, Bad, "clean or mend the ground")
}

func judgeVacuum(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleVacuum, Suspect, "low and steady points to late timing or an air leak, a regular flick to a valve; about 3.4 kPa less is right for each 300 m of height")
}

func judgeBackPressure(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleBackPressure, Bad, "restricted catalyst or pipe")
}
