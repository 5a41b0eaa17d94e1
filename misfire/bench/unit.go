package bench

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// dimension is what a unit measures.
type dimension uint8

const (
	resistance dimension = iota
	pressure
	length
	percent
	voltage
	turning
	heat
	time
	words // no number
)

// String is how the units of a dimension may be written.
func (d dimension) String() string {
	return [...]string{"ohm, kohm, Mohm", "kPa, bar, psi", "mm, cm, m, in, ft", "%", "V, mV, kV", "rpm", "C or F", "ms", "words"}[d]
}

// unit is a way to write a unit.
type unit struct {
	dimension dimension
	factor    float64 // to ohm, kPa, metre, percent, volt, rpm, degrees Celsius, millisecond
	name      string  // as it is told
	zero      float64 // of a temperature, its zero in degrees Celsius
}

// unitOf reads a unit, letter case aside but for the m of milli and the M of mega. The factors of those that are not
// metric are NIST Special Publication 811 (2008), appendix B.
func unitOf(text string) (unit, bool) {
	text = strings.NewReplacer("\u2126", "ohm", "\u03a9", "ohm", "\u03c9", "ohm", " ", "").Replace(text)
	switch text {
	case "M":
		return unit{dimension: resistance, factor: 1e6, name: "Mohm"}, true
	case "m":
		return unit{dimension: length, factor: 1, name: "m"}, true
	}
	if strings.HasPrefix(text, "M") && strings.EqualFold(strings.TrimSuffix(text[1:], "s"), "ohm") {
		return unit{dimension: resistance, factor: 1e6, name: "Mohm"}, true
	}
	switch strings.ToLower(text) {
	case "ohm", "ohms", "r":
		return unit{dimension: resistance, factor: 1, name: "ohm"}, true
	case "kohm", "kohms", "k":
		return unit{dimension: resistance, factor: 1e3, name: "kohm"}, true
	case "megohm", "megohms":
		return unit{dimension: resistance, factor: 1e6, name: "Mohm"}, true
	case "kpa":
		return unit{dimension: pressure, factor: 1, name: "kPa"}, true
	case "pa":
		return unit{dimension: pressure, factor: 0.001, name: "Pa"}, true
	case "mpa":
		return unit{dimension: pressure, factor: 1000, name: "MPa"}, true
	case "bar":
		return unit{dimension: pressure, factor: 100, name: "bar"}, true
	case "mbar", "hpa":
		return unit{dimension: pressure, factor: 0.1, name: "mbar"}, true
	case "psi":
		return unit{dimension: pressure, factor: 6.894757, name: "psi"}, true
	case "inhg":
		return unit{dimension: pressure, factor: 3.386389, name: "inHg"}, true
	case "mmhg":
		return unit{dimension: pressure, factor: 0.1333224, name: "mmHg"}, true
	case "kgf/cm2", "kg/cm2":
		return unit{dimension: pressure, factor: 98.0665, name: "kg/cm2"}, true
	case "mm":
		return unit{dimension: length, factor: 0.001, name: "mm"}, true
	case "cm":
		return unit{dimension: length, factor: 0.01, name: "cm"}, true
	case "in", "inch", "inches", `"`:
		return unit{dimension: length, factor: inch, name: "in"}, true
	case "ft", "foot", "feet", "'":
		return unit{dimension: length, factor: foot, name: "ft"}, true
	case "%", "percent":
		return unit{dimension: percent, factor: 1, name: "%"}, true
	case "v", "volt", "volts":
		return unit{dimension: voltage, factor: 1, name: "V"}, true
	case "mv":
		return unit{dimension: voltage, factor: 0.001, name: "mV"}, true
	case "kv":
		return unit{dimension: voltage, factor: 1000, name: "kV"}, true
	case "ms":
		return unit{dimension: time, factor: 1, name: "ms"}, true
	case "c", "\u00b0c", "degc":
		return unit{dimension: heat, factor: 1, name: "C"}, true
	case "f", "\u00b0f", "degf":
		return unit{dimension: heat, factor: 5.0 / 9, name: "F", zero: -32 * 5.0 / 9}, true
	case "rpm", "1/min":
		return unit{dimension: turning, factor: 1, name: "rpm"}, true
	}
	return unit{}, false
}

// In metres.
const (
	foot = 0.3048
	inch = 0.0254
)

// quantityForm is a number with whatever stands behind it.
var quantityForm = regexp.MustCompile(`^([+-]?)(\d+|\d*[.,]\d+|\d+[.,])\s*([^\d.,\s-][^\s]*|)$`)

// powerForm is a power of ten, which no meter shows.
var powerForm = regexp.MustCompile(`^[eE][+-]?\d`)

// measured is a number with its unit as it was written; unit is empty where none was.
type measured struct {
	number float64
	unit   string
}

// parseMeasured reads a number with a unit. A comma may stand for the decimal point where it cannot mean thousands.
func parseMeasured(text string) (measured, error) {
	text = strings.TrimSpace(text)
	parts := quantityForm.FindStringSubmatch(text)
	if parts == nil || powerForm.MatchString(parts[3]) {
		return measured{}, fmt.Errorf("%q is no number with a unit: write one as 12.1kohm", shortened(text))
	}
	digits := parts[2]
	if whole, decimals, comma := strings.Cut(digits, ","); comma {
		if len(decimals) == 3 && len(whole) > 0 && len(whole) <= 3 && strings.Trim(whole, "0") != "" {
			return measured{}, fmt.Errorf("%q could be %s.%s or %s%s: write it with a point, or without the comma", shortened(text), whole, decimals, whole, decimals)
		}
		digits = whole + "." + decimals
	}
	number, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return measured{}, fmt.Errorf("%q is no number that a meter shows", shortened(text))
	}
	if parts[1] == "-" {
		number = -number
	}
	return measured{number, parts[3]}, nil
}

// name is the unit as it is told; empty where none was written.
func (m measured) name() string {
	u, _ := unitOf(m.unit)
	return u.name
}

// in is the number in base units of a dimension. A unit that was left out is taken for usual, where that is not empty.
func (m measured) in(d dimension, usual string) (float64, error) {
	if m.unit == "" {
		m.unit = usual
	}
	switch strings.ToLower(m.unit) {
	case "":
		return 0, fmt.Errorf("the unit of %v is missing: give it in %s", m.number, d)
	case "mohm", "mohms", "m\u2126", "m\u03a9", "m\u03c9":
		if m.unit[0] == 'm' {
			return 0, fmt.Errorf("%q could be thousandths or millions: write Mohm for millions, or ohm", m.unit)
		}
	}
	u, known := unitOf(m.unit)
	if d == resistance && m.unit == "m" || !known || u.dimension != d {
		return 0, fmt.Errorf("%q is no unit for this: give it in %s", shortened(m.unit), d)
	}
	return m.number*u.factor + u.zero, nil
}

// Convert gives a number of one unit in another, which must measure the same: false where it does not. apart tells that it is
// a difference, which of temperatures has no zero.
func Convert(v float64, from, to string, apart bool) (float64, bool) {
	if from == to {
		return v, true
	}
	if per, length, is := strings.Cut(from, "/"); is { // kohm/ft
		other, otherLength, too := strings.Cut(to, "/")
		one, known := Convert(1, length, otherLength, true)
		if !too || per != other || !known {
			return v, false
		}
		return v / one, true
	}
	a, known := unitOf(from)
	b, too := unitOf(to)
	if !known || !too || a.dimension != b.dimension {
		return v, false
	}
	if !apart {
		v += a.zero / a.factor
	}
	if v = v * a.factor / b.factor; !apart {
		v -= b.zero / b.factor
	}
	return rounded(v), true
}

// base is the factor from base units to a unit of our own.
func base(name string) float64 {
	u, known := unitOf(name)
	if !known {
		panic("bench: no unit " + name) // the table of kinds is tested, so no user meets this
	}
	return u.factor
}

// shortened is a text as an error quotes it.
func shortened(text string) string {
	const most = 40
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + "..."
	}
	return text
}
