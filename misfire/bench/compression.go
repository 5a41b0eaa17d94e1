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
	is := r.is()
	switch {
	case floor.side(r.Value) < 0:
		return floor.says(Bad, CompressionFloor, is, number(floor.low, r.Unit))
	case usual.side(r.Value) < 0:
		return usual.says(Suspect, CompressionLow, is, usual.band(r.Unit))
	case usual.side(r.Value) > 0:
		return usual.says(Suspect, CompressionHigh, is, usual.band(r.Unit))
	}
	return usual.says(Good, Within, is, usual.band(r.Unit))
}

// ratio compares a cylinder with the best: makers ask for 70, 75 or 90 % of it.
func (d *judging) ratio(r *Reading) []Finding {
	all := values(d.siblings(r))
	if len(all) < 2 {
		return nil
	}
	best := slices.Max(all)
	if best <= 0 {
		return nil
	}
	rule, lenient, strict := d.rules[ruleRatio], d.rules[ruleRatioLenient], d.rules[limitRatio]
	percent := 100 * r.Value / best
	about := []Figure{share(percent), number(best, r.Unit)}
	switch {
	case lenient.side(percent) < 0:
		return []Finding{lenient.says(Bad, RatioBad, append(about, number(lenient.low, "%"))...)}
	case rule.side(percent) < 0:
		return []Finding{rule.says(Bad, RatioLenient, append(about, number(rule.low, "%"), number(lenient.low, ""))...)}
	case strict.side(percent) < 0:
		return []Finding{strict.says(Suspect, RatioStrict, append(about, number(strict.low, "%"))...)}
	}
	return []Finding{rule.says(Good, RatioGood, about...)}
}

// judgeOiled judges what oil did to a low compression. It tells where the loss is, not whether there is one.
func judgeOiled(d *judging, r *Reading) []Finding {
	rule := d.rules[ruleOil]
	dry := d.newest[key{part: Compression, quantity: Dry, cylinder: r.Cylinder}]
	if dry == nil || dry.Value <= 0 || math.IsNaN(dry.Value) {
		return []Finding{rule.says(CannotSay, OilNeedsDry, number(float64(r.Cylinder), ""))}
	}
	rise := 100 * (r.Value - dry.Value) / dry.Value
	about := []Figure{share(rise), number(rule.high, "")}
	switch low := judged(dry, judgeCompression(d, dry)); {
	case low.Mark < Suspect:
		return []Finding{rule.says(Good, OilNotLow, about[:1]...)}
	case rule.side(rise) > 0:
		return []Finding{rule.says(Bad, OilRings, about...)}
	}
	return []Finding{rule.says(Bad, OilValves, about...)}
}

func judgeRunIdle(d *judging, r *Reading) []Finding {
	dead := d.rules[limitRunDead]
	if dead.side(r.Value) < 0 {
		return []Finding{dead.says(Bad, RunningDead, r.is(), number(dead.low, r.Unit))}
	}
	return d.runs(r, limitRunIdle)
}

func judgeRunSnap(d *judging, r *Reading) []Finding { return d.runs(r, limitRunSnap) }

// runs judges a compression of the running engine as a share of that while cranking.
func (d *judging) runs(r *Reading, name string) []Finding {
	rule := d.rules[name]
	dry := d.newest[key{part: Compression, quantity: Dry, cylinder: r.Cylinder}]
	if dry == nil || !(dry.Value > 0) {
		return []Finding{rule.says(CannotSay, RunningNeedsDry, number(float64(r.Cylinder), ""))}
	}
	percent := 100 * r.Value / dry.Value
	about := []Figure{r.is(), share(percent), rule.band("%")}
	if rule.side(percent) != 0 {
		return []Finding{rule.says(Suspect, RunningOff, about...)}
	}
	return []Finding{rule.says(Good, RunningGood, about...)}
}

func judgeCrankSpeed(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleCrankSpeed, Suspect, CrankUneven, CrankUneven)
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
		found = append(found, spread.says(Suspect, LeakSpread, number(over, ""), number(spread.high, "")))
	}
	return found
}

func (d *judging) leaked(r *Reading) Finding {
	good, fair, bad := d.rules[ruleLeakGood], d.rules[ruleLeakFair], d.rules[ruleLeakBad]
	is := r.is()
	switch {
	case bad.side(r.Value) > 0:
		return bad.says(Bad, LeakBad, is, number(bad.high, "")).with(LeakWhere)
	case fair.side(r.Value) > 0:
		return fair.says(Suspect, LeakHigh, is, number(fair.high, "")).with(LeakWhere)
	case good.side(r.Value) > 0:
		return fair.says(Good, LeakFair, is, number(fair.high, ""))
	}
	return good.says(Good, LeakGood, is, number(good.high, ""))
}
