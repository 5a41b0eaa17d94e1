package bench

const (
	driverInside = "A coil with a built-in driver cannot be measured so."
	coilClear    = " A right reading does not clear a coil that fails hot or under voltage."
)

// judgePrimary judges the resistance of a coil's primary winding.
func judgePrimary(d *judging, r *Reading) []Finding {
	band := d.rules[rulePrimary]
	set := d.coilSet(r)
	is, usual := figure(r.Value, r.Unit), band.band(r.Unit)
	var f Finding
	switch {
	case r.Open() && allOpen(d.siblings(r)):
		f = band.says(CannotSay, "Open, and so are all that were measured. %s", driverInside)
	case r.Open():
		f = band.says(Bad, "Open: broken winding. %s", driverInside)
	case r.Maker.Told():
		f = byMaker(r)
	case band.side(r.Value) < 0:
		f = band.says(Bad, "%s is below the usual %s: shorted turns, if the meter's leads are taken away.", is, usual)
	case band.side(r.Value) > 0:
		f = band.says(Suspect, "%s is above the usual %s. %s", is, usual, driverInside)
	default:
		f = band.says(Good, "%s is within the usual %s.%s", is, usual, coilClear)
	}
	return append([]Finding{f}, set...)
}

// judgeSecondary judges the resistance of a coil's secondary winding.
func judgeSecondary(d *judging, r *Reading) []Finding {
	usual, outer := d.rules[ruleSecondary], d.rules[ruleSecondaryOut]
	set := d.coilSet(r)
	is := figure(r.Value, r.Unit)
	inStep := len(set) > 0 && set[0].Mark == Good && len(values(d.siblings(r))) >= enoughSiblings
	var f Finding
	switch {
	case r.Open() && len(values(d.siblings(r))) > 0:
		f = usual.says(Bad, "Open, while its siblings are not: broken winding.")
	case r.Open():
		f = usual.says(CannotSay, "Open: broken winding, or a diode inside; measure its siblings and compare.")
	case r.Maker.Told():
		f = byMaker(r)
	case outer.side(r.Value) != 0:
		f = outer.says(Bad, "%s is outside %s: faulty, or not to be measured this way.", is, outer.band(r.Unit))
	case usual.side(r.Value) != 0 && inStep:
		f = outer.says(Good, "%s is outside the usual %s, yet within %s and in step with its siblings.%s", is, usual.band(r.Unit), outer.band(r.Unit), coilClear)
	case usual.side(r.Value) != 0:
		f = usual.says(Suspect, "%s is outside the usual %s: measure its siblings and compare.", is, usual.band(r.Unit))
	default:
		f = usual.says(Good, "%s is within the usual %s.%s", is, usual.band(r.Unit), coilClear)
	}
	return append([]Finding{f}, set...)
}

// coilSet compares a coil with its siblings.
func (d *judging) coilSet(r *Reading) []Finding {
	return d.share(r, compared{rule: ruleCoilSibling, of: func(o *Reading) float64 { return o.Value }, unit: r.Unit})
}

func judgeReach(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleReach, Bad, "weak spark; look at the coil's supply and trigger before the coil")
}

func judgeCoilSupply(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleCoilSupply, Bad, "resistance in relay, fuse or wiring")
}
