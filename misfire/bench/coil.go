package bench

import "stumble/misfire/rate"

// judgePrimary judges the resistance of a coil's primary winding.
func judgePrimary(d *judging, r *Reading) []Finding {
	band := d.rules[rulePrimary]
	set := d.coilSet(r)
	is, usual := r.is(), band.band(r.Unit)
	var f Finding
	switch {
	case r.Open() && allOpen(d.siblings(r)):
		f = band.says(CannotSay, DriversOpen).with(DriverInside)
	case r.Open():
		f = band.says(Bad, WindingOpen).with(DriverInside)
	case r.Maker.Told():
		f = byMaker(r)
	case band.side(r.Value) < 0 && d.primariesAlike(r, set):
		f = band.says(Good, PrimaryAlike, is, usual).with(CoilClear)
	case band.side(r.Value) < 0:
		f = band.says(Bad, PrimaryShort, is, usual)
	case band.side(r.Value) > 0:
		f = band.says(Suspect, Above, is, usual).with(DriverInside)
	default:
		f = band.says(Good, Within, is, usual).with(CoilClear)
	}
	return append([]Finding{f}, set...)
}

// nearZero is, as a share of the lower limit, where a primary is near zero, whatever its siblings are; a choice.
const nearZero = 1.0 / 3

// primariesAlike reports whether a primary below the band is in step with siblings that are below it, too, and not near
// zero: that is a design.
func (d *judging) primariesAlike(r *Reading, set []Finding) bool {
	band := d.rules[rulePrimary]
	others := values(d.others(r))
	return len(others)+1 >= enoughSiblings && len(set) > 0 && set[0].Mark == Good && r.Value > nearZero*band.low &&
		band.side(rate.Median(others)) < 0
}

// judgeSecondary judges the resistance of a coil's secondary winding.
func judgeSecondary(d *judging, r *Reading) []Finding {
	usual, outer := d.rules[ruleSecondary], d.rules[ruleSecondaryOut]
	set := d.coilSet(r)
	is := r.is()
	inStep := len(set) > 0 && set[0].Mark == Good && len(values(d.siblings(r))) >= enoughSiblings
	var f Finding
	switch {
	case r.Open() && len(values(d.others(r))) > 0:
		f = usual.says(Bad, SecondaryAlone)
	case r.Open():
		f = usual.says(CannotSay, SecondaryOpen)
	case r.Maker.Told():
		f = byMaker(r)
	case outer.side(r.Value) != 0:
		f = outer.says(Bad, SecondaryOutside, is, outer.band(r.Unit))
	case usual.side(r.Value) != 0 && inStep:
		f = outer.says(Good, SecondaryInStep, is, usual.band(r.Unit), outer.band(r.Unit)).with(CoilClear)
	case usual.side(r.Value) != 0:
		f = usual.says(Suspect, SecondaryUnusual, is, usual.band(r.Unit))
	default:
		f = usual.says(Good, Within, is, usual.band(r.Unit)).with(CoilClear)
	}
	return append([]Finding{f}, set...)
}

// coilSet compares a coil with its siblings.
func (d *judging) coilSet(r *Reading) []Finding {
	return d.share(r, compared{rule: ruleCoilSibling, of: func(o *Reading) float64 { return o.Value }, unit: r.Unit})
}

func judgeReach(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleReach, Bad, WeakSpark, Nothing)
}

// judgeAvailable judges the voltage that a coil reaches on an adjustable gap.
func judgeAvailable(d *judging, r *Reading) []Finding {
	band := d.rules[limitAvailable]
	if !r.Maker.Told() && band.side(r.Value) > 0 {
		return []Finding{band.says(Good, Above, r.is(), band.band(r.Unit))}
	}
	return d.limit(r, limitAvailable, Bad, WeakSpark, Nothing)
}

// firingApart is how far siblings may lie apart, kV: a judgement of the sheet that the limit is from.
const firingApart = 3

// judgeFiring judges the voltage that a plug asks for, by itself and against its siblings.
func judgeFiring(d *judging, r *Reading) []Finding {
	found := d.limit(r, limitFiring, Suspect, FiringLow, FiringHigh)
	others := values(d.others(r))
	if len(others)+1 < enoughSiblings {
		return found
	}
	middle := rate.Median(others)
	if off := rounded(r.Value - middle); sideOf(off, -firingApart, firingApart) != 0 {
		about := []Figure{r.is(), apart(max(off, -off), r.Unit), number(middle, r.Unit), apart(firingApart, r.Unit)}
		found = append(found, d.rules[limitFiring].says(Suspect, FiringOdd, about...))
	}
	return found
}

func judgeDuration(d *judging, r *Reading) []Finding {
	return d.limit(r, limitDuration, Suspect, SparkShort, SparkLong)
}

func judgeCoilSupply(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleCoilSupply, Bad, Nothing, SupplyResists)
}

func judgeCoilGround(d *judging, r *Reading) []Finding {
	return d.limit(r, limitCoilGnd, Bad, Nothing, GroundResists)
}
