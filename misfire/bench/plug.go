package bench

import (
	"fmt"
	"math"
	"strings"
)

// judgePlug judges the resistance of a plug, with or without a resistor in it.
func judgePlug(d *judging, r *Reading) []Finding {
	if r.Maker.Told() {
		return append([]Finding{byMaker(r)}, d.outlier(r)...)
	}
	resistor, plain := d.rules[rulePlugResistor], d.rules[rulePlugPlain]
	is := figure(r.Value, r.Unit)
	var f Finding
	switch {
	case r.Open():
		f = resistor.says(Bad, "Open: replace the plug.")
	case r.Variant == Plain && plain.side(r.Value) > 0:
		f = plain.says(Suspect, "%s is too much for a plug without a resistor, %s.", is, plain.band(r.Unit))
	case r.Variant == Plain:
		f = plain.says(Good, "%s is right for a plug without a resistor.", is)
	case r.Variant == "" && plain.side(r.Value) == 0:
		f = plain.says(CannotSay, "%s fits a plug without a resistor: is it one? Of one with a resistor %s are usual.", is, resistor.band(r.Unit))
	case r.Value > farAbove*resistor.high:
		f = resistor.says(Bad, "%s is far above the usual %s: replace the plug.", is, resistor.band(r.Unit))
	case resistor.side(r.Value) != 0:
		f = resistor.says(Suspect, "%s is outside the usual %s of a plug with a resistor.", is, resistor.band(r.Unit))
	default:
		f = resistor.says(Good, "%s is within the usual %s of a plug with a resistor.", is, resistor.band(r.Unit))
	}
	return append([]Finding{f}, d.outlier(r)...)
}

// farAbove is how many times its upper limit is far above it; a choice.
const farAbove = 2

func judgeInsulation(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleInsulation, Bad, "fouled or cracked: clean it if it is only fouled, else replace it")
}

// judgeGap judges a plug's gap: only the maker's figure decides, and the set must be even.
func judgeGap(d *judging, r *Reading) []Finding {
	found := d.gapSpread(r)
	if !r.Maker.Told() {
		band := d.rules[ruleGap]
		f := band.says(CannotSay, "%s fits nearly any petrol engine, %s; only the maker's figure decides: give it with the reading.", figure(r.Value, r.Unit), band.band(r.Unit))
		if band.side(r.Value) != 0 {
			f = band.says(Suspect, "%s is outside what covers nearly all petrol engines, %s; the maker's figure decides.", figure(r.Value, r.Unit), band.band(r.Unit))
		}
		return append([]Finding{f}, found...)
	}
	wear := d.rules[ruleGapWear]
	over := rounded(r.Value - r.Maker.High)
	switch {
	case wear.side(over) > 0 && over > 0:
		return append([]Finding{wear.says(Bad, "%s is %s over the maker's figure, more than %s: worn; replace the set.", figure(r.Value, r.Unit), figure(over, r.Unit), digits(wear.high))}, found...)
	case over > hair:
		return append([]Finding{wear.says(Suspect, "%s is %s over the maker's figure: regap.", figure(r.Value, r.Unit), figure(over, r.Unit))}, found...)
	}
	return append([]Finding{byMaker(r)}, found...)
}

// gapSpread compares the widest gap of the set with the narrowest.
func (d *judging) gapSpread(r *Reading) []Finding {
	set := d.siblings(r)
	if len(set) < 2 {
		return nil
	}
	low, high := set[0], set[0]
	for _, o := range set {
		if o.Value < low.Value {
			low = o
		}
		if o.Value > high.Value {
			high = o
		}
	}
	spread := d.rules[ruleGapSpread]
	if wide := rounded(high.Value - low.Value); spread.side(wide) > 0 && (r == low || r == high) {
		return []Finding{spread.says(Suspect, "From cylinder %d to cylinder %d the gaps differ by %s, more than %s: regap or replace.",
			low.Cylinder, high.Cylinder, figure(wide, r.Unit), digits(spread.high))}
	}
	return nil
}

// look is how a plug may look.
type look struct {
	word string
	mark Mark
	why  string
}

// plugLooks are the words that an appearance begins with.
func plugLooks() []look {
	return []look{
		{"normal", Good, "Light tan or grey, edges sharp: it burned as it should."},
		{"sooty", Suspect, "Dry black soot: too much fuel, or a spark that fails; look at trims, injector and spark."},
		{"oily", Bad, "Wet with oil: rings, guides or a breather; compression and leak-down tell."},
		{"wet", Bad, "Wet with fuel: it did not fire; look for the spark first."},
		{"white", Suspect, "White or blistered: too hot; lean mixture, early spark or the wrong heat range."},
		{"deposit", Suspect, "Crusted: oil or coolant burned there; a white crust on one alone points to coolant."},
		{"cracked", Bad, "Cracked insulator: the spark leaks through; replace it, and look at the others."},
		{"tracked", Bad, "A carbon track: the spark ran down outside; replace plug and boot together."},
		{"worn", Bad, "Rounded electrodes need a higher voltage, and fail under load first: replace the set."},
	}
}

func looks() string {
	all := plugLooks()
	names := make([]string, len(all))
	for i, l := range all {
		names[i] = l.word
	}
	return strings.Join(names, ", ")
}

// judgeLook reads the first word of an appearance.
func judgeLook(_ *judging, r *Reading) []Finding {
	first, _, _ := strings.Cut(r.Text, " ")
	first = strings.ToLower(strings.Trim(first, ",;:."))
	for _, l := range plugLooks() {
		if l.word == first {
			return []Finding{{l.mark, l.why, ruleLook, sourcePractice}}
		}
	}
	return []Finding{{CannotSay, fmt.Sprintf("Kept as it was told; one that begins with %s is judged.", looks()), ruleLook, sourcePractice}}
}

// limit judges a reading by the maker's figure, else by one band; outside it is so bad for that reason.
func (d *judging) limit(r *Reading, name string, outside Mark, reason string) []Finding {
	if r.Maker.Told() {
		return []Finding{byMaker(r)}
	}
	band := d.rules[name]
	is, usual := figure(r.Value, r.Unit), band.band(r.Unit)
	if math.IsInf(r.Value, 1) {
		is = "Open"
	}
	switch band.side(r.Value) {
	case -1:
		return []Finding{band.says(outside, "%s is below the usual %s: %s.", is, usual, reason)}
	case 1:
		return []Finding{band.says(outside, "%s is above the usual %s: %s.", is, usual, reason)}
	}
	return []Finding{band.says(Good, "%s is within the usual %s.", is, usual)}
}
