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
	words // no number
)

// String is how the units of a dimension may be written.
func (d dimension) String() string {
	return [...]string{"ohm, kohm, Mohm", "kPa, bar, psi", "mm, cm, m, in, ft", "%", "V, mV", "rpm", "words"}[d]
}

// unit is a way to write a unit.
type unit struct {
	dimension dimension
	factor    float64 // to ohm, kPa, metre, percent, volt, rpm
}

// unitOf reads a unit, letter case aside but for the m of milli and the M of mega. The factors of those that are not
// metric are NIST Special Publication 811 (2008), appendix B.
func unitOf(text string) (unit, bool) {
	text = strings.NewReplacer("\u2126", "ohm", "\u03a9", "ohm", "\u03c9", "ohm", " ", "").Replace(text)
	switch text {
	case "M":
		return unit{resistance, 1e6}, true
	case "m":
		return unit{length, 1}, true
	}
	if strings.HasPrefix(text, "M") && strings.EqualFold(strings.TrimSuffix(text[1:], "s"), "ohm") {
		return unit{resistance, 1e6}, true
	}
	switch strings.ToLower(text) {
	case "ohm", "ohms", "r":
		return unit{resistance, 1}, true
	case "kohm", "kohms", "k":
		return unit{resistance, 1e3}, true
	case "megohm", "megohms":
		return unit{resistance, 1e6}, true
	case "kpa":
		return unit{pressure, 1}, true
	case "pa":
		return unit{pressure, 0.001}, true
	case "mpa":
		return unit{pressure, 1000}, true
	case "bar":
		return unit{pressure, 100}, true
	case "mbar", "hpa":
		return unit{pressure, 0.1}, true
	case "psi":
		return unit{pressure, 6.894757}, true
	case "inhg":
		return unit{pressure, 3.386389}, true
	case "mmhg":
		return unit{pressure, 0.1333224}, true
	case "kgf/cm2", "kg/cm2":
		return unit{pressure, 98.0665}, true
	case "mm":
		return unit{length, 0.001}, true
	case "cm":
		return unit{length, 0.01}, true
	case "in", "inch", "inches", `"`:
		return unit{length, inch}, true
	case "ft", "foot", "feet", "'":
		return unit{length, foot}, true
	case "%", "percent":
		return unit{percent, 1}, true
	case "v", "volt", "volts":
		return unit{voltage, 1}, true
	case "mv":
		return unit{voltage, 0.001}, true
	case "rpm", "1/min":
		return unit{turning, 1}, true
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
	return m.number * u.factor, nil
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
