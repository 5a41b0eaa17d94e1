package bench

import (
	"math"

	"stumble/misfire/rate"
)

// typicalFoot is what a carbon-core wire has by the typical figure: about 12 kohm for 2 ft.
const typicalFoot = 6

const openWire = "A broken conductor or a burnt terminal. Spark can still jump the break at times, so a spark tester may show nothing; load, heat and movement open it."

// judgeWire judges the resistance of a plug wire: by its length where that is known, else as a whole.
func judgeWire(d *judging, r *Reading) []Finding {
	open := d.rules[ruleWireOpen]
	switch {
	case r.Open():
		return []Finding{open.says(Bad, "Open. "+openWire)}
	case r.Value > open.low:
		return []Finding{open.says(Bad, "%s is as good as open. "+openWire, figure(r.Value, r.Unit))}
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
	low := figure(r.Value, r.Unit) + " is below the usual " + whole.band(r.Unit)
	switch {
	case len(siblings) < enoughSiblings || len(set) == 0:
		return []Finding{whole.says(CannotSay, "%s. A spiral-wound core reads so without being faulty: measure its siblings and compare.", low)}
	case set[0].Mark == Good && whole.side(rate.Median(siblings)) < 0:
		return []Finding{whole.says(Good, "%s, and so are its siblings: a spiral-wound set reads so and is good.", low)}
	case whole.side(rate.Median(siblings)) < 0:
		return []Finding{whole.says(CannotSay, "%s, and so are its siblings: a spiral-wound set reads so; compare them.", low)}
	}
	return []Finding{whole.says(Suspect, "%s, and its siblings are not: another kind of wire, or a wrong one.", low)}
}

// wholeWire judges a wire whose length is not known.
func (d *judging) wholeWire(r *Reading) Finding {
	whole := d.rules[ruleWireWhole]
	if whole.side(r.Value) > 0 {
		return whole.says(Suspect, "%s is above the usual %s of a whole wire: measure its length and judge it by that.", figure(r.Value, r.Unit), whole.band(r.Unit))
	}
	return whole.says(Good, "%s is within the usual %s of a whole wire; its length would tell more.", figure(r.Value, r.Unit), whole.band(r.Unit))
}

// wireByLength judges a wire by what makers allow for each foot.
func (d *judging) wireByLength(r *Reading) Finding {
	strict, lenient, outer := d.rules[ruleWireStrict], d.rules[ruleWireLenient], d.rules[ruleWireOuter]
	v := perFoot(r)
	is := figure(v, "kohm a foot")
	typical := figure(math.Round(typicalFoot*r.Length/foot), "kohm")
	switch {
	case outer.side(v) > 0:
		return outer.says(Bad, "%s is above %s, which no kind of wire may have; about %s is typical of this length. Replace it.", is, digits(outer.high), typical)
	case lenient.side(v) > 0:
		return lenient.says(Suspect, "%s is above the %s that the more lenient maker read allows; about %s is typical of this length.", is, digits(lenient.high), typical)
	case strict.side(v) > 0:
		return strict.says(Suspect, "%s is above the %s that one maker read allows, and within the %s of another; about %s is typical of this length.", is, digits(strict.high), digits(lenient.high), typical)
	}
	f := strict.says(Good, "%s is within the %s that makers allow; about %s is typical of this length.", is, digits(strict.high), typical)
	return f
}

func perFoot(r *Reading) float64 { return r.Value / (r.Length / foot) }

// wireSet compares a wire with its siblings: by length those whose length is known, the others as they are.
func (d *judging) wireSet(r *Reading) []Finding {
	c := compared{rule: ruleWireSibling, of: perFoot, unit: "kohm a foot"}
	known := r.Length > 0
	if !known {
		c.of, c.unit = func(o *Reading) float64 { return o.Value }, r.Unit
		c.hint = " Their lengths are not known: a longer wire has more."
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
