package bench

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
)

//go:embed rules.csv
var ruleTable []byte

// Names of the rules as rules.csv has them.
const (
	ruleWireWhole    = "plug wire, whole"
	ruleWireTypical  = "plug wire, 2 ft (0.6 m)"
	ruleWireStrict   = "plug wire, per foot, strict"
	ruleWireLenient  = "plug wire, per foot, lenient"
	ruleWireOuter    = "plug wire, per foot, outer limit"
	ruleWireSibling  = "plug wire, sibling comparison"
	ruleWireOpen     = "plug wire, open"
	rulePlugResistor = "spark plug, resistor type"
	rulePlugPlain    = "spark plug, non-resistor type"
	ruleInsulation   = "spark plug, insulation"
	ruleGap          = "spark plug gap"
	ruleGapWear      = "spark plug gap, wear"
	ruleGapSpread    = "spark plug gap, spread"
	rulePrimary      = "coil primary, one coil a cylinder or shared coil"
	ruleSecondary    = "coil secondary, usual"
	ruleSecondaryOut = "coil secondary, outer limit"
	ruleCoilSibling  = "coil, sibling comparison"
	ruleReach        = "coil, spark reach"
	ruleCoilSupply   = "coil supply"
	ruleInjectorHigh = "injector, high-impedance port type"
	ruleInjectorLow  = "injector, low-impedance port type"
	ruleInjectorDI   = "injector, direct-injection solenoid"
	ruleInjectorSib  = "injector, sibling comparison"
	ruleInjectorDrop = "injector, pressure-drop comparison"
	ruleRatio        = "compression, ratio"
	ruleRatioLenient = "compression, ratio, lenient"
	ruleFloor        = "compression, floor"
	ruleUsual        = "compression, usual"
	ruleOil          = "compression, oil test"
	ruleLeakGood     = "leak-down, good"
	ruleLeakFair     = "leak-down, acceptable"
	ruleLeakBad      = "leak-down, bad"
	ruleLeakSpread   = "leak-down, spread"
	ruleResting      = "battery, resting"
	ruleCranking     = "battery, cranking"
	ruleCharging     = "charging"
	ruleGround       = "ground path"
	ruleVacuum       = "manifold vacuum, idle"
	rulePressure     = "port fuel pressure"
	ruleHold         = "port fuel pressure, hold"
	ruleBackPressure = "exhaust back-pressure"
	ruleBalance      = "cylinder cut test"
	ruleCrankSpeed   = "crank speed for compression test"
)

// Rules that are of no table.
const (
	MakerRule   = "the maker's figure"
	ruleOutlier = "stands out from its siblings"
	ruleSpark   = "spark test"
	ruleLook    = "plug appearance"
)

const (
	sourceMaker    = "the maker's service information, as it was entered"
	sourceOutlier  = "Iglewicz and Hoaglin 1993: 0.6745 |x - median| / MAD above 3.5; from memory"
	sourcePractice = "common practice, no source"
)

// rule is one line of rules.csv.
type rule struct {
	name      string
	low, high float64 // -Inf and +Inf: no limit on that side
	source    string
}

// rules are those of the table, by name.
func rules() map[string]rule {
	rows, err := csv.NewReader(bytes.NewReader(ruleTable)).ReadAll()
	if err != nil {
		panic("bench: the built-in rules: " + err.Error()) // a test reads them, so no user meets this
	}
	all := make(map[string]rule, len(rows))
	for _, row := range rows[1:] {
		all[row[0]] = rule{name: row[0], low: limit(row[3], -1), high: limit(row[4], 1), source: row[6]}
	}
	return all
}

// limit is an end of a band; an empty one is no limit on that side.
func limit(text string, side int) float64 {
	if text == "" {
		return math.Inf(side)
	}
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic("bench: the built-in rules: " + err.Error()) // a test reads them, so no user meets this
	}
	return v
}

// says is what the rule finds.
func (r rule) says(m Mark, format string, args ...any) Finding {
	return Finding{Mark: m, Why: fmt.Sprintf(format, args...), Rule: r.name, Source: r.source}
}

// side is -1 below the band, 0 in it, its ends among it, and 1 above.
func (r rule) side(v float64) int { return sideOf(v, r.low, r.high) }

// band is the rule's band in words.
func (r rule) band(unit string) string { return bandInWords(r.low, r.high, unit) }

// hair is how far beyond an end still counts as at it, as a share: what turning units about adds.
const hair = 1e-9

func sideOf(v, low, high float64) int {
	switch {
	case v < low-hair*math.Abs(low):
		return -1
	case v > high+hair*math.Abs(high):
		return 1
	}
	return 0
}

func bandInWords(low, high float64, unit string) string {
	switch {
	case math.IsInf(low, -1):
		return "up to " + figure(high, unit)
	case math.IsInf(high, 1):
		return "from " + figure(low, unit)
	}
	return digits(low) + " to " + figure(high, unit)
}

// figure is a value with its unit in words.
func figure(v float64, unit string) string {
	switch {
	case math.IsInf(v, 1):
		return "open"
	case unit == "":
		return digits(v)
	}
	return digits(v) + " " + unit
}

// digits is a number as it is said: two places after the point, none from a hundred on.
func digits(v float64) string {
	if math.Abs(v) >= 99.995 {
		return places(v, 0)
	}
	return places(v, 2)
}

// share is a percentage as it is said.
func share(v float64) string { return places(v, 1) + " %" }

// places is a number with so many places after the point at the most.
func places(v float64, n int) string {
	scale := math.Pow10(n)
	return strconv.FormatFloat(math.Round(v*scale)/scale+0, 'f', -1, 64)
}
