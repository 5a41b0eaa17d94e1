package wire

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/views"
	"stumble/views/report"
	"stumble/views/viewstest"
	"stumble/views/wrap"
)

// spell is running of one cylinder in one condition.
type spell struct {
	cylinder        int
	gear            gear.State
	rpm, load       float64
	cold            bool
	misses, firings float64
}

// drove is a drive of a four with those spells.
func drove(t testing.TB, hours int, spells ...spell) *misfire.Summary {
	start := viewstest.Began.Add(time.Duration(hours) * time.Hour)
	s := &misfire.Summary{Start: start, Now: start.Add(31 * time.Minute), Running: 30 * time.Minute, Engine: viewstest.LayoutOf(t, "i4-1342"), Map: engine.Identity(4)}
	for i := range 4 {
		s.Total = append(s.Total, viewstest.CellOf(i+1, gear.Unknown, gear.None, 0, 0))
	}
	for _, p := range spells {
		c := viewstest.CellOf(p.cylinder, p.gear, gear.Marked, p.misses, p.firings)
		c.Condition.Load, c.Condition.RPM, c.Condition.Warm = misfire.BandOfLoad(p.load), misfire.BandOfRPM(p.rpm), !p.cold
		c.RPM, c.Load, c.Decides = p.rpm, p.load, rate.Count{Misses: p.misses, Firings: p.firings}
		s.Cells = append(s.Cells, c)
		whole := c
		whole.Condition = misfire.Condition{Gear: p.gear}
		s.ByGear = append(s.ByGear, whole)
		total := &s.Total[p.cylinder-1]
		total.Estimate = rate.Interval(total.Misses+p.misses, total.Firings+p.firings, 1)
	}
	return s
}

// judged is a comparison of two drives as the program makes it.
func judged(t testing.TB, before, after *misfire.Summary, swap string) *report.Comparison {
	t.Helper()
	code := func(stored ...obd.Code) *obd.CodeReport {
		return &obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: stored, Permanent: []obd.Code{0x0302}}}}
	}
	cycles := proof.NewCycles(proof.CycleConfig{Cylinders: 4}).Progress()
	in := proof.Input{Before: proof.Side{Drives: []*misfire.Summary{before}, Codes: code(0x0302)},
		After: proof.Side{Drives: []*misfire.Summary{after}, Codes: code(), Cycles: &cycles}}
	c := &report.Comparison{Before: []report.Compared{{Drive: 3, Summary: before}}, After: []report.Compared{{Drive: 5, Summary: after}}, Rules: cycles.Rules(),
		Codes: report.CodesRead{Before: before.Start, After: after.Start}}
	var err error
	c.Result, err = proof.Compare(in)
	require.NoError(t, err)
	ready := proof.ReadinessOf([]obd.Monitors{{}}, 0)
	c.Readiness = &ready
	if swap != "" {
		s, err := proof.ParseSwap(swap)
		require.NoError(t, err)
		c.Swap, err = proof.CompareSwap(in, s)
		require.NoError(t, err)
	}
	return c
}

func broken(t testing.TB) *misfire.Summary {
	return drove(t, 0,
		spell{cylinder: 1, gear: gear.Drive, rpm: 690, load: 34, firings: 4000}, spell{cylinder: 2, gear: gear.Drive, rpm: 690, load: 34, misses: 124, firings: 4000},
		spell{cylinder: 1, gear: gear.Moving, rpm: 2050, load: 55, firings: 2000}, spell{cylinder: 2, gear: gear.Moving, rpm: 2050, load: 55, misses: 90, firings: 2000},
		spell{cylinder: 1, gear: gear.ParkNeutral, rpm: 750, load: 21, firings: 3000}, spell{cylinder: 2, gear: gear.ParkNeutral, rpm: 750, load: 21, misses: 1, firings: 3000},
		spell{cylinder: 2, gear: gear.Reverse, rpm: 720, load: 33, cold: true, firings: 300})
}

func cured(t testing.TB, firings float64) *misfire.Summary {
	return drove(t, 24, spell{cylinder: 2, gear: gear.Drive, rpm: 700, load: 32, firings: firings}, spell{cylinder: 2, gear: gear.Moving, rpm: 2100, load: 51, firings: firings},
		spell{cylinder: 1, gear: gear.Drive, rpm: 700, load: 32, firings: firings}, spell{cylinder: 1, gear: gear.Moving, rpm: 2100, load: 51, firings: firings})
}

func textOf(t testing.TB, c *report.Comparison) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.WriteComparison(&out, c, views.PageWidth))
	return out.String()
}

func TestComparisonAsText(t *testing.T) {
	viewstest.RequireGolden(t, "compare-proven.txt", textOf(t, judged(t, broken(t), cured(t, 20000), "")))
	viewstest.RequireGolden(t, "compare-not-yet.txt", textOf(t, judged(t, broken(t), cured(t, 900), "")))
	followed := drove(t, 24,
		spell{cylinder: 2, gear: gear.Drive, rpm: 700, load: 32, firings: 4000}, spell{cylinder: 1, gear: gear.Drive, rpm: 700, load: 32, misses: 120, firings: 4000},
		spell{cylinder: 2, gear: gear.Moving, rpm: 2050, load: 55, firings: 4000}, spell{cylinder: 1, gear: gear.Moving, rpm: 2050, load: 55, misses: 160, firings: 4000})
	viewstest.RequireGolden(t, "compare-swapped.txt", textOf(t, judged(t, broken(t), followed, "coil:1-2")))
}

func TestComparisonAsJSON(t *testing.T) {
	var line bytes.Buffer
	require.NoError(t, WriteLine(&line, NewComparison(judged(t, broken(t), cured(t, 900), ""))))
	var got map[string]any
	require.NoError(t, json.Unmarshal(line.Bytes(), &got))
	assert.Equal(t, "comparison", got["kind"])
	assert.Equal(t, "not_yet", got["outcome"])
	assert.Equal(t, 0.0, got["ratio"])
	assert.Positive(t, got["high"])
	assert.Nil(t, got["swap"])
	need := got["needed"].([]any)[0].(map[string]any)
	assert.Contains(t, []any{"D", "moving"}, need["gear"])
	assert.Positive(t, need["minutes"])
	cell := got["cells"].([]any)[0].(map[string]any)
	for field, want := range map[string]any{
		"cylinder": 2.0, "level": "fine", "gear": "D", "load_band": "20-40 %", "rpm_band": "under 1000 rpm", "warm": true, "origin": "marked",
		"rpm": 690.0, "load": 34.0, "failing": true, "outcome": "not_yet", "code": nil, "ratio": 0.0,
	} {
		assert.Equal(t, want, cell[field], field)
	}
	before := cell["before"].(map[string]any)
	assert.Equal(t, 124.0, before["misses"])
	assert.Equal(t, 31.0, before["rate"])
	assert.Equal(t, []any{"P0302"}, got["codes"].(map[string]any)["stored"].(map[string]any)["gone"])
	assert.Equal(t, []any{}, got["codes"].(map[string]any)["stored"].(map[string]any)["new"], "a list is never null")
	alone := got["not_compared"].([]any)
	require.NotEmpty(t, alone)
	assert.Equal(t, "before", alone[0].(map[string]any)["side"])
}

// Whatever was driven: the page keeps to its width and says no number that is none, and the object can be read.
func TestAnyComparison(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 5))
	gears := []gear.State{gear.ParkNeutral, gear.Drive, gear.Reverse, gear.Moving, gear.Unknown}
	comparisons := 150
	if testing.Short() {
		comparisons = 15
	}
	for range comparisons {
		side := func(hours int) *misfire.Summary {
			var spells []spell
			for range 1 + random.IntN(12) {
				p := spell{cylinder: 1 + random.IntN(4), gear: gears[random.IntN(len(gears))], rpm: math.Round(500 * math.Pow(20, random.Float64())),
					load: math.Round(100 * random.Float64()), cold: random.IntN(3) == 0, firings: math.Round(math.Pow(10, 7*random.Float64()))}
				if random.IntN(2) == 0 {
					p.misses = math.Round(p.firings * math.Pow(10, -4*random.Float64()))
				}
				spells = append(spells, p)
			}
			return drove(t, hours, spells...)
		}
		c := judged(t, side(0), side(24), "")
		text := textOf(t, c)
		for line := range strings.Lines(text) {
			require.LessOrEqual(t, wrap.Width(strings.TrimSuffix(line, "\n")), views.PageWidth, "%s", text)
			require.NotRegexp(t, `NaN|Inf|%!|  +\n$`, line)
		}
		var line bytes.Buffer
		require.NoError(t, WriteLine(&line, NewComparison(c)))
		require.True(t, json.Valid(line.Bytes()))
	}
}
