package bench

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"math"
	"strconv"
)

// ruleTable are the rules of the trade, limitTable further limits that were read later; both as testdata/vectors has them.
//
//go:embed rules.csv
var ruleTable []byte

//go:embed limits.csv
var limitTable []byte

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
	rulePressure     = "port fuel pressure, regulator hose off or returnless"
	rulePressureOn   = "port fuel pressure at idle, regulator hose on"
	ruleHold         = "port fuel pressure, hold"
	ruleBackIdle     = "exhaust back-pressure at idle"
	ruleBackPressure = "exhaust back-pressure at 2000 to 2500 rpm"
	ruleBalance      = "cylinder cut test"
	ruleCrankSpeed   = "crank speed for compression test"
)

// read marks the limits that were read later: some have the name of a rule of the trade.
const read = "; "

// Names of the limits as limits.csv has them, behind that mark.
const (
	limitDrop      = "; injector, pressure-drop comparison"
	limitHold      = "; port fuel pressure, hold, one minute"
	limitRatio     = "; compression, ratio"
	limitRunIdle   = "; running compression, idle"
	limitRunSnap   = "; running compression, snap throttle"
	limitRunDead   = "; running compression, cylinder that can be switched off"
	limitVacuum    = "; manifold vacuum, idle"
	limitLoad      = "; battery, load test 15 s"
	limitCoilGnd   = "; coil ground path"
	limitClasses   = "; injector, port type classes"
	limitFiring    = "; secondary voltage asked"
	limitAvailable = "; secondary voltage available"
	limitDuration  = "; spark duration"
	limitGapSpread = "; plug gap spread"
	limitLeaky     = "; plug insulation"
	limitPurge     = "; purge valve"
	limitCoolant   = "; smoke or coolant pressure test, overnight"
	limitPort      = "; exhaust port temperature, idle warm"
)

// Rules that are of no table.
const (
	MakerRule   = "the maker's figure"
	ruleOutlier = "stands out from its siblings"
	ruleSpark   = "spark test"
	ruleLook    = "plug appearance"
	ruleNeedle  = "vacuum needle"
	ruleMoves   = "moves while it is flexed"
	ruleHeats   = "cold against hot"
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

// rules are those of both tables, by name.
func rules() map[string]rule {
	all := make(map[string]rule)
	for mark, table := range map[string][]byte{"": ruleTable, read: limitTable} {
		rows, err := csv.NewReader(bytes.NewReader(table)).ReadAll()
		if err != nil {
			panic("bench: the built-in rules: " + err.Error()) // a test reads them, so no user meets this
		}
		for _, row := range rows[1:] {
			all[mark+row[0]] = rule{name: row[0], low: limit(row[3], -1), high: limit(row[4], 1), source: row[6]}
		}
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
func (r rule) says(m Mark, what Saying, about ...Figure) Finding {
	return Finding{Mark: m, Says: what, About: about, Rule: r.name, Source: r.source}
}

// side is -1 below the band, 0 in it, its ends among it, and 1 above.
func (r rule) side(v float64) int { return sideOf(v, r.low, r.high) }

// band is the rule's band.
func (r rule) band(unit string) Figure {
	return Figure{Low: r.low, High: r.high, Unit: unit, Band: true}
}

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
