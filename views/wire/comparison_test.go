package wire

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
	"stumble/views/report"
	"stumble/views/viewstest"
	"stumble/views/wrap"
)

func textOf(t testing.TB, c *report.Comparison) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.WriteComparison(&out, c, views.PageWidth))
	return out.String()
}

func TestComparisonAsText(t *testing.T) {
	viewstest.RequireGolden(t, "compare-proven.txt", textOf(t, viewstest.Judged(t, viewstest.Broken(t), viewstest.Cured(t, 20000), "")))
	viewstest.RequireGolden(t, "compare-not-yet.txt", textOf(t, viewstest.Judged(t, viewstest.Broken(t), viewstest.Cured(t, 300), "")))
	followed := viewstest.Drove(t, 24,
		viewstest.Spell{Cylinder: 2, Gear: gear.Drive, Rpm: 700, Load: 32, Firings: 4000}, viewstest.Spell{Cylinder: 1, Gear: gear.Drive, Rpm: 700, Load: 32, Misses: 120, Firings: 4000},
		viewstest.Spell{Cylinder: 2, Gear: gear.Moving, Rpm: 2050, Load: 55, Firings: 4000}, viewstest.Spell{Cylinder: 1, Gear: gear.Moving, Rpm: 2050, Load: 55, Misses: 160, Firings: 4000})
	viewstest.RequireGolden(t, "compare-swapped.txt", textOf(t, viewstest.Judged(t, viewstest.Broken(t), followed, "coil:1-2")))
}

func TestComparisonAsJSON(t *testing.T) {
	var line bytes.Buffer
	require.NoError(t, WriteLine(&line, NewComparison(viewstest.Judged(t, viewstest.Broken(t), viewstest.Cured(t, 300), ""))))
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
		"cylinder": 2.0, "level": "fine", "gear": "D", "load_band": "30-40 %", "rpm_band": "under 1000 rpm", "warm": true, "origin": "marked",
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
			var spells []viewstest.Spell
			for range 1 + random.IntN(12) {
				p := viewstest.Spell{Cylinder: 1 + random.IntN(4), Gear: gears[random.IntN(len(gears))], Rpm: math.Round(500 * math.Pow(20, random.Float64())),
					Load: math.Round(100 * random.Float64()), Cold: random.IntN(3) == 0, Firings: math.Round(math.Pow(10, 7*random.Float64()))}
				if random.IntN(2) == 0 {
					p.Misses = math.Round(p.Firings * math.Pow(10, -4*random.Float64()))
				}
				spells = append(spells, p)
			}
			return viewstest.Drove(t, hours, spells...)
		}
		c := viewstest.Judged(t, side(0), side(24), "")
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
