package bench

import (
	"math"

	"stumble/misfire/rate"
)

// typicalFoot is what a carbon-core wire has by the typical figure: about 12 kohm for 2 ft.
const typicalFoot = 6

// judgeWire judges the resistance of a plug wire: by its length where that is known, else as a whole.
func judgeWire(d *judging, r *Reading) []Finding {
	open := d.rules[ruleWireOpen]
	switch {
	case r.Open():
		return []Finding{open.says(Bad, WireOpen).with(OpenWire)}
	case r.Value > open.low:
		return []Finding{open.says(Bad, WireAsGood, r.is()).with(OpenWire)}
	}
	set := d.wireSet(r)
	if r.Maker.Told() {
		return append([]Finding{byMaker(r)}, set...)
	}
	if low := d.lowWire(r, set); low != nil {
		return append(low, set...)
	}
	if r.Length == 0 {
		return append([]Finding{d.wholeWire(r)}, set...)
	}
	return append([]Finding{d.wireByLength(r)}, set...)
}

// lowWire judges a wire that is below the band: spiral-wound cores are, without being faulty, but not one alone.
func (d *judging) lowWire(r *Reading, set []Finding) []Finding {
	whole := d.rules[ruleWireWhole]
	if whole.side(r.Value) >= 0 {
		return nil
	}
	siblings := values(d.siblings(r))
	about := []Figure{r.is(), whole.band(r.Unit)}
	switch {
	case len(siblings) < enoughSiblings || len(set) == 0:
		return []Finding{whole.says(CannotSay, WireSpiral, about...)}
	case set[0].Mark == Good && whole.side(rate.Median(siblings)) < 0:
		return []Finding{whole.says(Good, WireSpiralSet, about...)}
	case whole.side(rate.Median(siblings)) < 0:
		return []Finding{whole.says(CannotSay, WireSpiralCompare, about...)}
	}
	return []Finding{whole.says(Suspect, WireOtherKind, about...)}
}

// wholeWire judges a wire whose length is not known.
func (d *judging) wholeWire(r *Reading) Finding {
	whole := d.rules[ruleWireWhole]
	if whole.side(r.Value) > 0 {
		return whole.says(Suspect, WireWholeHigh, r.is(), whole.band(r.Unit))
	}
	return whole.says(Good, WireWholeGood, r.is(), whole.band(r.Unit))
}

// wireByLength judges a wire by what makers allow for each foot. High resistance alone hardly ever makes a miss: it costs
// less than a kilovolt (computed: limits.csv), so only a break is bad.
func (d *judging) wireByLength(r *Reading) Finding {
	strict, lenient, outer := d.rules[ruleWireStrict], d.rules[ruleWireLenient], d.rules[ruleWireOuter]
	const unit = "kohm/ft"
	v := perFoot(r)
	is, typical := number(v, unit), number(math.Round(typicalFoot*r.Length/foot), "kohm")
	switch {
	case outer.side(v) > 0:
		return outer.says(Suspect, WireOuter, is, number(outer.high, unit), typical)
	case lenient.side(v) > 0:
		return lenient.says(Suspect, WireLenient, is, number(lenient.high, unit), typical)
	case strict.side(v) > 0:
		return strict.says(Suspect, WireStrict, is, number(strict.high, unit), number(lenient.high, unit), typical)
	}
	return strict.says(Good, WireRight, is, number(strict.high, unit), typical)
}

func perFoot(r *Reading) float64 { return r.Value / (r.Length / foot) }

// wireSet compares a wire with its siblings: by length those whose length is known, the others as they are.
func (d *judging) wireSet(r *Reading) []Finding {
	c := compared{rule: ruleWireSibling, of: perFoot, unit: "kohm/ft"}
	known := r.Length > 0
	if !known {
		c.of, c.unit, c.hint = func(o *Reading) float64 { return o.Value }, r.Unit, LengthsUnknown
	}
	of := c.of
	c.of = func(o *Reading) float64 {
		if (o.Length > 0) != known {
			return math.NaN()
		}
		return of(o)
	}
	return d.share(r, c)
}
