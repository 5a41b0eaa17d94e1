package say

import (
	"math"
	"strconv"
	"strings"

	"stumble/misfire/bench"
)

// Bench tells readings of the bench: in the units they were typed in, else in those of the country.
type Bench struct {
	Words
	US bool // psi, inHg, inches, feet and degrees Fahrenheit, where a reading tells no unit of its own
}

// Finding is what one rule says of a reading.
func (b Bench) Finding(r *bench.Reading, f *bench.Finding) string {
	about := make([]any, len(f.About))
	for i, a := range f.About {
		about[i] = b.figure(r, a, f.Rule == bench.MakerRule)
	}
	said := b.Tell(benchKeys()[f.Says], about...)
	if f.Hint != bench.Nothing {
		said = b.tell("join-sentences", said, b.Tell(benchKeys()[f.Hint]))
	}
	return said
}

// Why is what the finding that decides says.
func (b Bench) Why(j *bench.Judgement) string { return b.Finding(&j.Reading, j.Decides()) }

// Reading is what was measured: "12.1 kohm at 60 cm", "open", "88 ± 9 rpm", "12 kohm to open, moving".
func (b Bench) Reading(r *bench.Reading) string {
	words := r.Text
	switch {
	case r.Moves:
		words = b.tell("reading-moves", b.number(r, r.Value, r.Unit, false), b.number(r, r.To, r.Unit, false))
	case r.Margin > 0:
		words = b.tell("reading-margin", digits(r.Value, r.Unit), b.number(r, r.Margin, r.Unit, true))
	case !math.IsNaN(r.Value):
		words = b.number(r, r.Value, r.Unit, false)
	}
	if r.Length > 0 {
		unit := b.lengthUnit(r)
		v, _ := bench.Convert(r.Length, "m", unit, false)
		words = b.tell("reading-at", words, withUnit(v, unit))
	}
	if r.Heated {
		words = b.tell("reading-at", words, b.number(r, r.Celsius, "C", false))
	}
	var also []string
	if r.State != bench.AnyState {
		also = append(also, string(r.State))
	}
	if r.Variant != "" {
		also = append(also, string(r.Variant))
	}
	return b.Commas(append([]string{words}, also...))
}

// figure is a number or a band that a finding tells.
func (b Bench) figure(r *bench.Reading, f bench.Figure, makers bool) string {
	switch {
	case f.Share:
		return b.tell("reading-share", places(f.Low, 1))
	case !f.Band:
		return b.numberFor(r, f.Low, f.Unit, f.Apart, makers)
	case math.IsInf(f.Low, -1):
		return b.tell("figure-up-to", b.numberFor(r, f.High, f.Unit, false, makers))
	case math.IsInf(f.High, 1):
		return b.tell("figure-from", b.numberFor(r, f.Low, f.Unit, false, makers))
	}
	low, unit := b.convert(r, f.Low, f.Unit, false, makers)
	return b.tell("figure-between", digits(low, unit), b.numberFor(r, f.High, f.Unit, false, makers))
}

func (b Bench) number(r *bench.Reading, v float64, unit string, apart bool) string {
	return b.numberFor(r, v, unit, apart, false)
}

// numberFor is a number with its unit, in the unit that it is told in.
func (b Bench) numberFor(r *bench.Reading, v float64, unit string, apart, makers bool) string {
	if math.IsInf(v, 1) {
		return b.tell("figure-open")
	}
	return withUnit(b.convert(r, v, unit, apart, makers))
}

// convert puts a number into the unit that it is told in: that in which the reading was typed, where both measure the same.
func (b Bench) convert(r *bench.Reading, v float64, unit string, apart, makers bool) (float64, string) {
	to := b.unit(r, unit)
	if per, length, is := strings.Cut(unit, "/"); is && length != "" {
		to = per + "/m"
		if l := b.lengthUnit(r); l == "ft" || l == "in" || makers && r.Maker.Typed == "ft" {
			to = per + "/ft"
		}
	}
	if converted, can := bench.Convert(v, unit, to, apart); can {
		return converted, to
	}
	return v, unit
}

// unit is the unit in which a reading's numbers of some unit are told.
func (b Bench) unit(r *bench.Reading, unit string) string {
	if unit == "C" && r.TypedCelsius != "" {
		return r.TypedCelsius
	}
	if _, can := bench.Convert(1, unit, r.Typed, false); can && r.Typed != "" {
		return r.Typed
	}
	if !b.US {
		return unit
	}
	switch {
	case r.Quantity == bench.Vacuum && unit == "kPa":
		return "inHg"
	case unit == "kPa":
		return "psi"
	case unit == "mm":
		return "in"
	case unit == "C":
		return "F"
	}
	return unit
}

// lengthUnit is the unit in which a wire's length is told.
func (b Bench) lengthUnit(r *bench.Reading) string {
	switch {
	case r.TypedLength != "":
		return r.TypedLength
	case b.US:
		return "ft"
	}
	return "cm"
}

// withUnit is a number with its unit in words.
func withUnit(v float64, unit string) string {
	said := strings.NewReplacer("/ft", " a foot", "/m", " a metre").Replace(unit)
	switch unit {
	case "":
		return digits(v, unit)
	case "C", "F":
		said = "°" + unit
	}
	return digits(v, unit) + " " + said
}

// digits is a number as it is said: two places after the point, three of inches, one by
// length, none from a hundred on.
func digits(v float64, unit string) string {
	switch {
	case math.Abs(v) >= 99.995:
		return places(v, 0)
	case unit == "in":
		return places(v, 3)
	case strings.Contains(unit, "/"):
		return places(v, 1)
	}
	return places(v, 2)
}

// places is a number with so many places after the point at the most.
func places(v float64, n int) string {
	scale := math.Pow10(n)
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', -1, 64)
}

// Published is what of a source may stand on a page: who published it. What somebody remembers or is used to, and what is a
// judgement, is for contributors.
func Published(source string) string {
	var kept []string
	for part := range strings.SplitSeq(source, ";") {
		part = strings.TrimSpace(part)
		if part == "" || strings.Contains(part, "memory") || strings.Contains(part, "common practice") || strings.Contains(part, "judgement") ||
			strings.Contains(part, "computed") || strings.Contains(part, "not seen") {
			continue
		}
		kept = append(kept, part)
	}
	return strings.Join(kept, "; ")
}
