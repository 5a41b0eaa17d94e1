package bench

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// testdata/vectors/trade-checks.csv is the list of trade rules that this package is held to: each row is either met by
// readings below, at and above its limits here, or said to be no bench reading, and why.

func tradeRows(t *testing.T) [][]string {
	t.Helper()
	f, err := os.Open("../../testdata/vectors/trade-checks.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Equal(t, []string{"name", "quantity", "unit", "low", "high", "rule", "source"}, rows[0])
	return rows[1:]
}

// notMeasured are the rows that no bench reading meets, and why.
func notMeasured(name string) string {
	for begin, why := range map[string]string{
		"fuel trim":                   "the car tells it: intake and watch read it",
		"idle speed":                  "the car tells it",
		"manifold pressure, idle":     "the car tells it (PID 0B); a gauge's reading is the row of the manifold's vacuum",
		"coolant":                     "the car tells it",
		"smoke test":                  "how the tester is set, no finding on the car",
		"cylinder cut test, duration": "how long the balance test may cut a cylinder: package balance is held to it",
		"misfire window":              "how the car's controller judges: packages misfire and obd/sim",
		"misfire limit floor":         "how the car's controller judges",
		"exceedances":                 "how the car's controller judges",
		"MIL":                         "how the car's controller judges",
		"single-cylinder code":        "how the car's controller judges",
		"multiple-cylinder code":      "how the car's controller judges",
		"similar conditions":          "how a repair is compared: package proof",
		"pending misfire code":        "how the car's controller judges: package proof",
		"stored code expiry":          "how the car's controller judges: package proof",
		"warm-up cycle":               "how the car's controller judges: package proof",
		"permanent code":              "how the car's controller judges: package proof",
		"inspection":                  "rules of an authority: package proof",
	} {
		if strings.HasPrefix(name, begin) {
			return why
		}
	}
	return ""
}

// The built-in rules are the vectors' rows that a reading can meet, word for word.
func TestRulesAreTheTradesOwn(t *testing.T) {
	mine, err := csv.NewReader(strings.NewReader(string(ruleTable))).ReadAll()
	require.NoError(t, err)
	byName := make(map[string][]string)
	for _, row := range mine[1:] {
		require.NotContains(t, byName, row[0])
		require.NotEmpty(t, row[6], "%s has no source", row[0])
		byName[row[0]] = row
	}
	for _, row := range tradeRows(t) {
		if why := notMeasured(row[0]); why != "" {
			assert.NotContains(t, byName, row[0], "no bench reading: %s", why)
			continue
		}
		assert.Equal(t, row, byName[row[0]])
		delete(byName, row[0])
	}
	assert.Empty(t, byName, "rules of no trade row")
}

// point is a reading near a limit and what is said of it.
type point struct {
	value float64
	mark  Mark
	says  string // part of the finding's words
}

// meeting is a trade row and the readings that meet it.
type meeting struct {
	kind    string
	variant Variant
	maker   Range
	length  float64
	set     map[int]float64 // of the other cylinders; the reading itself is cylinder 1
	dry     float64         // compression without oil, of cylinder 1
	points  []point
}

func meetings() map[string]meeting {
	alike := func(v float64) map[int]float64 { return map[int]float64{2: v, 3: v, 4: v} }
	return map[string]meeting{
		ruleWireWhole: {kind: "wire", points: []point{
			{2.9, CannotSay, "spiral-wound"}, {3, Good, "within"}, {18, Good, "within"}, {18.1, Suspect, "measure its length"}}},
		ruleWireTypical: {kind: "wire", length: 0.6, points: []point{{12, Good, "about 12 kohm is typical"}}},
		ruleWireStrict: {kind: "wire", length: foot, points: []point{
			{6.9, Good, "within the 7"}, {7, Good, "within the 7"}, {7.1, Suspect, "above the 7 that one maker"}}},
		ruleWireLenient: {kind: "wire", length: foot, points: []point{
			{9.9, Suspect, "within the 10 of another"}, {10, Suspect, "within the 10 of another"}, {10.1, Suspect, "above the 10 that the more lenient"}}},
		ruleWireOuter: {kind: "wire", length: foot, points: []point{
			{11.9, Suspect, "above the 10"}, {12, Suspect, "above the 10"}, {12.1, Bad, "Replace it"}}},
		ruleWireSibling: {kind: "wire", length: 2 * foot, set: alike(10), points: []point{
			{6.9, Suspect, "69 % of the middle"}, {7, Good, "in step"}, {13, Good, "in step"}, {13.1, Suspect, "131 % of the middle"}}},
		ruleWireOpen: {kind: "wire", points: []point{
			{999, Suspect, "above the usual"}, {1000, Suspect, "above the usual"}, {1001, Bad, "Spark can still jump"}, {math.Inf(1), Bad, "Spark can still jump"}}},
		rulePlugResistor: {kind: "plug-resistance", points: []point{
			{2.9, Suspect, "outside"}, {3, Good, "within"}, {5, Good, "within"}, {7.5, Good, "within"}, {7.6, Suspect, "outside"}, {16, Bad, "far above"}, {math.Inf(1), Bad, "Open"}}},
		rulePlugPlain:  {kind: "plug-resistance", variant: Plain, points: []point{{0, Good, "right"}, {0.1, Good, "right"}, {0.11, Suspect, "too much"}}},
		ruleInsulation: {kind: "plug-insulation", points: []point{{9.9, Bad, "fouled or cracked"}, {10, Good, "within"}, {11, Good, "within"}, {math.Inf(1), Good, "within"}}},
		ruleGap: {kind: "plug-gap", points: []point{
			{0.59, Suspect, "outside"}, {0.6, CannotSay, "only the maker's figure decides"}, {1.5, CannotSay, "only the maker's figure decides"}, {1.51, Suspect, "outside"}}},
		ruleGapWear: {kind: "plug-gap", maker: Range{Low: 1, High: 1.1}, points: []point{
			{1.29, Suspect, "regap"}, {1.3, Suspect, "regap"}, {1.31, Bad, "replace the set"}}},
		ruleGapSpread: {kind: "plug-gap", maker: Range{Low: 0.5, High: 1.5}, set: map[int]float64{2: 1, 3: 1, 4: 1}, points: []point{
			{1.19, Good, "maker's figure"}, {1.2, Good, "maker's figure"}, {1.21, Suspect, "From cylinder 2 to cylinder 1 the gaps differ"}}},
		rulePrimary: {kind: "coil-primary", points: []point{
			{0.29, Bad, "shorted turns"}, {0.3, Good, "within"}, {2, Good, "within"}, {2.01, Suspect, "above"}, {math.Inf(1), Bad, "broken winding"}}},
		ruleSecondary: {kind: "coil-secondary", points: []point{
			{4.9, Suspect, "outside the usual"}, {5, Good, "within"}, {18, Good, "within"}, {18.1, Suspect, "outside the usual"}, {math.Inf(1), CannotSay, "or a diode inside"}}},
		ruleSecondaryOut: {kind: "coil-secondary", points: []point{
			{2.9, Bad, "faulty, or not to be measured"}, {3, Suspect, "outside the usual"}, {30, Suspect, "outside the usual"}, {30.1, Bad, "faulty, or not to be measured"}}},
		ruleCoilSibling: {kind: "coil-secondary", set: alike(10), points: []point{
			{8.4, Suspect, "84 % of the middle"}, {8.5, Good, "in step"}, {11.5, Good, "in step"}, {11.6, Suspect, "116 % of the middle"}}},
		ruleReach:      {kind: "coil-reach", points: []point{{9.9, Bad, "weak spark"}, {10, Good, "within"}, {11, Good, "within"}}},
		ruleCoilSupply: {kind: "coil-supply", points: []point{{0.49, Good, "within"}, {0.5, Good, "within"}, {0.51, Bad, "relay, fuse or wiring"}}},
		ruleInjectorHigh: {kind: "injector", points: []point{
			{10.9, Bad, "shorted"}, {11, Good, "within"}, {18, Good, "within"}, {18.1, Bad, "corroded"}, {math.Inf(1), Bad, "Open"}}},
		ruleInjectorLow: {kind: "injector", variant: LowImpedance, points: []point{{1.4, Bad, "shorted"}, {1.5, Good, "within"}, {4, Good, "within"}, {4.1, Bad, "corroded"}}},
		ruleInjectorDI:  {kind: "injector", variant: Direct, points: []point{{0.79, Bad, "shorted"}, {0.8, Good, "within"}, {3, Good, "within"}, {3.1, Bad, "corroded"}}},
		ruleInjectorSib: {kind: "injector", set: alike(14), points: []point{
			{12.9, Suspect, "from the middle of the set"}, {13, Good, "in step"}, {15, Good, "in step"}, {15.1, Suspect, "from the middle of the set"}}},
		// With three others at 100 the mean of all is 100 + off/4, so that off - off/4 meets the 10 kPa at 13.33.
		ruleInjectorDrop: {kind: "injector-drop", set: alike(100), points: []point{
			{86.6, Suspect, "clogged"}, {86.7, Good, "of the mean"}, {113.3, Good, "of the mean"}, {113.4, Suspect, "leaking or stuck"}}},
		ruleRatio:        {kind: "compression", set: alike(1200), points: []point{{890, Suspect, "likely a mechanical fault"}, {900, Good, "75 % of the best"}, {910, Good, "of the best"}}},
		ruleRatioLenient: {kind: "compression", set: alike(1200), points: []point{{839, Bad, "mechanical fault in this cylinder"}, {840, Suspect, "70 % of the best"}, {841, Suspect, "some makers allow"}}},
		ruleFloor:        {kind: "compression", points: []point{{689, Bad, "too low to fire"}, {690, Suspect, "below the usual"}, {691, Suspect, "below the usual"}}},
		ruleUsual:        {kind: "compression", points: []point{{899, Suspect, "below the usual"}, {900, Good, "within"}, {1500, Good, "within"}, {1501, Suspect, "above the usual"}}},
		ruleOil:          {kind: "compression-oil", dry: 600, points: []point{{719, Bad, "valve or the head gasket"}, {720, Bad, "valve or the head gasket"}, {721, Bad, "rings"}}},
		ruleLeakGood:     {kind: "leakdown", points: []point{{9, Good, "sound"}, {10, Good, "sound"}, {11, Good, "acceptable"}}},
		ruleLeakFair:     {kind: "leakdown", points: []point{{19, Good, "acceptable"}, {20, Good, "acceptable"}, {21, Suspect, "oil filler is rings"}}},
		ruleLeakBad:      {kind: "leakdown", points: []point{{29, Suspect, "above 20"}, {30, Suspect, "above 20"}, {31, Bad, "will not cure"}}},
		ruleLeakSpread:   {kind: "leakdown", set: map[int]float64{2: 4, 3: 5, 4: 6}, points: []point{{13, Good, "acceptable"}, {14, Good, "acceptable"}, {15, Suspect, "tightest"}}},
		ruleResting:      {kind: "battery", points: []point{{12.39, Suspect, "charge it"}, {12.4, Good, "within"}, {12.8, Good, "within"}, {12.9, CannotSay, "not at rest yet"}}},
		ruleCranking:     {kind: "battery-cranking", points: []point{{9.5, Bad, "can be trusted"}, {9.6, Good, "within"}, {9.7, Good, "within"}}},
		ruleCharging: {kind: "charging", points: []point{{12.1, Bad, "outside what a managed"}, {13.1, Suspect, "managed alternator may wander"}, {13.2, Good, "within"},
			{14.8, Good, "within"}, {14.9, Suspect, "managed alternator may wander"}, {15.3, Bad, "outside what a managed"}}},
		ruleGround:       {kind: "ground", points: []point{{0.19, Good, "within"}, {0.2, Good, "within"}, {0.21, Bad, "clean or mend"}}},
		ruleVacuum:       {kind: "vacuum", points: []point{{56, Suspect, "air leak"}, {57, Good, "within"}, {74, Good, "within"}, {75, Suspect, "above"}}},
		rulePressure:     {kind: "fuel-pressure", points: []point{{269, Suspect, "pump"}, {270, Good, "within"}, {450, Good, "within"}, {451, Suspect, "regulator"}}},
		ruleHold:         {kind: "fuel-hold", points: []point{{34, Good, "within"}, {35, Good, "within"}, {36, Bad, "leaking injector"}}},
		ruleBackPressure: {kind: "back-pressure", points: []point{{8.9, Good, "within"}, {9, Good, "within"}, {9.1, Bad, "restricted"}}},
		ruleBalance:      {kind: "balance", set: alike(100), points: []point{{49, Bad, "gives little work"}, {50, Good, "50 % of the middle"}, {51, Good, "of the middle"}}},
		ruleCrankSpeed:   {kind: "crank-speed", points: []point{{149, Suspect, "does not compare"}, {150, Good, "within"}, {300, Good, "within"}, {301, Suspect, "does not compare"}}},
	}
}

// readings are the reading of cylinder 1 last, and what stands beside it.
func (m *meeting) readings(t *testing.T, value float64) []Reading {
	t.Helper()
	k, err := FindKind(m.kind)
	require.NoError(t, err)
	r := Reading{Part: k.Part, Quantity: k.Quantity, Unit: k.Unit, Variant: m.variant, Maker: m.maker, Length: m.length}
	var all []Reading
	if m.dry > 0 {
		all = append(all, Reading{Part: Compression, Quantity: Dry, Unit: "kPa", Cylinder: 1, Value: m.dry})
	}
	for cylinder := 2; cylinder <= 4; cylinder++ {
		if v, ok := m.set[cylinder]; ok {
			o := r
			o.Cylinder, o.Value = cylinder, v
			all = append(all, o)
		}
	}
	if r.Value = value; k.Each {
		r.Cylinder = 1
	}
	return append(all, r)
}

// Below, at and above each limit of the trade: common practice as the row's own source says.
func TestEveryTradeRow(t *testing.T) {
	met := meetings()
	for _, row := range tradeRows(t) {
		name := row[0]
		if notMeasured(name) != "" {
			assert.NotContains(t, met, name, "met and said to be no bench reading")
			continue
		}
		m, ok := met[name]
		if !assert.True(t, ok, "row %q is neither met nor said to be no bench reading", name) {
			continue
		}
		named := false
		for _, p := range m.points {
			t.Run(fmt.Sprintf("%s/%v", name, p.value), func(t *testing.T) {
				all := Judge(m.readings(t, p.value))
				j := all[len(all)-1]
				assert.Equal(t, p.mark, j.Mark, j.Why)
				assert.Contains(t, said(&j), p.says)
				for _, f := range j.All {
					assert.NotEmpty(t, f.Source)
					if f.Rule == name {
						named = true
						assert.Equal(t, row[6], f.Source)
					}
				}
			})
		}
		assert.True(t, named || name == ruleWireTypical, "no finding names the rule %q", name)
	}
}

func said(j *Judgement) string {
	var all []string
	for _, f := range j.All {
		all = append(all, f.Why)
	}
	return strings.Join(all, " ")
}

// The typical wire and the managed alternator stand in the rows' words, which are no limits.
func TestFiguresInWords(t *testing.T) {
	for _, row := range tradeRows(t) {
		switch row[0] {
		case ruleWireTypical:
			assert.Contains(t, row[5], fmt.Sprintf("about %d is just right", 2*typicalFoot))
		case ruleCharging:
			assert.Contains(t, row[5], fmt.Sprintf("%v-%v", managed[0], managed[1]))
		}
	}
}
