package bench

import (
	"math"
	"strings"

	"stumble/misfire/rate"
)

// judgePlug judges the resistance of a plug, with or without a resistor in it.
func judgePlug(d *judging, r *Reading) []Finding {
	if r.Maker.Told() {
		return append([]Finding{byMaker(r)}, d.outlier(r)...)
	}
	resistor, plain := d.rules[rulePlugResistor], d.rules[rulePlugPlain]
	is, usual := r.is(), resistor.band(r.Unit)
	odd := d.outlier(r)
	var f Finding
	switch {
	case r.Open():
		f = resistor.says(Bad, PlugOpen)
	case r.Variant == Plain && plain.side(r.Value) > 0:
		f = plain.says(Suspect, PlugPlainHigh, is, plain.band(r.Unit))
	case r.Variant == Plain:
		f = plain.says(Good, PlugPlainRight, is)
	case r.Variant == "" && plain.side(r.Value) == 0:
		f = plain.says(CannotSay, PlugWhich, is, usual)
	case resistor.side(r.Value) > 0 && len(odd) == 0 && d.plugsHigh(r):
		f = resistor.says(CannotSay, PlugsAlike, is, usual)
	case r.Value > farAbove*resistor.high:
		f = resistor.says(Bad, PlugFarAbove, is, usual)
	case resistor.side(r.Value) != 0:
		f = resistor.says(Suspect, PlugOutside, is, usual)
	default:
		f = resistor.says(Good, PlugWithin, is, usual)
	}
	return append([]Finding{f}, odd...)
}

// farAbove is how many times its upper limit is far above it; a choice.
const farAbove = 2

// plugsHigh reports whether the siblings of a plug are above the band, too: four alike are seldom all bad.
func (d *judging) plugsHigh(r *Reading) bool {
	others := values(d.others(r))
	return len(others)+1 >= enoughOutliers && d.rules[rulePlugResistor].side(rate.Median(others)) > 0
}

// judgeInsulation judges the way from terminal to shell: below the usual it is fouled or cracked, far below it misses.
func judgeInsulation(d *judging, r *Reading) []Finding {
	leaky, usual := d.rules[limitLeaky], d.rules[ruleInsulation]
	switch {
	case r.Maker.Told():
	case leaky.side(r.Value) < 0:
		return []Finding{leaky.says(Bad, InsulationBad, r.is(), number(leaky.low, r.Unit))}
	case usual.side(r.Value) < 0:
		return []Finding{usual.says(Suspect, InsulationLow, r.is(), usual.band(r.Unit))}
	}
	return d.limit(r, ruleInsulation, Bad, Nothing, Nothing)
}

// judgeGap judges a plug's gap: only the maker's figure decides, and the set must be even.
func judgeGap(d *judging, r *Reading) []Finding {
	found := d.gapOdd(r)
	if !r.Maker.Told() {
		band := d.rules[ruleGap]
		f := band.says(CannotSay, GapUnknown, r.is(), band.band(r.Unit))
		if band.side(r.Value) != 0 {
			f = band.says(Suspect, GapOutside, r.is(), band.band(r.Unit))
		}
		return append([]Finding{f}, found...)
	}
	wear := d.rules[ruleGapWear]
	over := rounded(r.Value - r.Maker.High)
	switch {
	case wear.side(over) > 0 && over > 0:
		return append([]Finding{wear.says(Bad, GapWorn, r.is(), apart(over, r.Unit), number(wear.high, r.Unit))}, found...)
	case over > hair:
		return append([]Finding{wear.says(Suspect, GapRegap, r.is(), apart(over, r.Unit))}, found...)
	}
	return append([]Finding{byMaker(r)}, found...)
}

// gapFar is how far a gap may lie from the others until it is bad, mm: what asks for 23 % more voltage (computed: limits.csv).
const gapFar = 0.3

// gapOdd holds a gap against the median of the others, so that the odd one alone is named.
func (d *judging) gapOdd(r *Reading) []Finding {
	others := values(d.others(r))
	if len(others) == 0 {
		return nil
	}
	spread := d.rules[ruleGapSpread]
	middle := rate.Median(others)
	off := rounded(math.Abs(r.Value - middle))
	switch {
	case spread.side(off) <= 0:
		return nil
	case len(others)+1 < enoughSiblings:
		return []Finding{spread.says(Suspect, GapTwo, apart(off, r.Unit), number(spread.high, r.Unit))}
	}
	mark := Suspect
	if sideOf(off, 0, gapFar) > 0 {
		mark, spread = Bad, d.rules[limitGapSpread]
	}
	return []Finding{spread.says(mark, GapOdd, r.is(), apart(off, r.Unit), number(middle, r.Unit), number(spread.high, r.Unit))}
}

// look is a word for how something looks, and what it says.
type look struct {
	word string
	mark Mark
	says Saying
	also []string // other words for it
}

// plugLooks are the words that tell how a plug looks.
func plugLooks() []look {
	return []look{
		{"normal", Good, LookNormal, []string{"tan", "grey", "gray", "good"}},
		{"sooty", Suspect, LookSooty, []string{"soot", "black", "fluffy"}},
		{"oily", Bad, LookOily, []string{"oil"}},
		{"wet", Bad, LookWet, []string{"fuel", "petrol"}},
		{"white", Suspect, LookWhite, []string{"blistered"}},
		{"deposit", Suspect, LookDeposit, []string{"deposits", "crusted", "crust"}},
		{"cracked", Bad, LookCracked, []string{"crack", "broken"}},
		{"tracked", Bad, LookTracked, []string{"track", "tracking"}},
		{"worn", Bad, LookWorn, []string{"rounded"}},
		{"melted", Bad, LookMelted, nil},
		{"loose", Bad, LookLoose, []string{"rattles"}},
		{"bridged", Bad, LookBridged, nil},
	}
}

// heard are the looks that a text tells, each once, in the order of the table: wherever a word stands, unless "not" or "no"
// stands before it.
func heard(text string, all []look) (found []look) {
	said := strings.FieldsFunc(strings.ToLower(text), func(c rune) bool { return c != '-' && (c < 'a' || c > 'z') })
	for _, l := range all {
		for i, word := range said {
			named := word == l.word
			for _, other := range l.also {
				named = named || word == other
			}
			if denied := i > 0 && (said[i-1] == "not" || said[i-1] == "no"); named && !denied {
				found = append(found, l)
				break
			}
		}
	}
	return found
}

// wordList lists the words of looks.
func wordList(all []look) []string {
	names := make([]string, len(all))
	for i, l := range all {
		names[i] = l.word
	}
	return names
}

// judgeLook judges how a plug looks by every word of it: it may be wet and cracked.
func judgeLook(_ *judging, r *Reading) []Finding {
	return judgeWords(r, plugLooks(), ruleLook, LookKept)
}

// judgeWords judges a text by the words of a table.
func judgeWords(r *Reading, table []look, rule string, kept Saying) (found []Finding) {
	for _, l := range heard(r.Text, table) {
		found = append(found, Finding{Mark: l.mark, Says: l.says, Rule: rule, Source: sourcePractice})
	}
	if len(found) == 0 {
		found = []Finding{{Mark: CannotSay, Says: kept, Rule: rule, Source: sourcePractice}}
	}
	return found
}
