package proof_test

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/misfire/proof"
)

// The ratios that a comparison prints are those of testdata/vectors/statistics-vectors.csv: R's poisson.test and
// the other programs and papers that each row names. Side a is the drive after, b the one before. A second
// condition, driven before only, keeps the cylinder failing: it must not change a figure.
func TestRatiosAgainstVectors(t *testing.T) {
	f, err := os.Open("../../testdata/vectors/statistics-vectors.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	checked := map[string]int{}
	for _, row := range rows[1:] {
		take := picker(row[0])
		if take == nil || strings.Contains(row[1], "ratio0") && !strings.Contains(row[1], "ratio0=1;") || strings.Contains(row[1], "level=0.90") {
			continue
		}
		sides := map[string][]float64{}
		for part := range strings.SplitSeq(row[1], ";") {
			name, list, _ := strings.Cut(part, "=")
			for word := range strings.SplitSeq(list, "|") {
				if v, err := strconv.ParseFloat(word, 64); err == nil {
					sides[name] = append(sides[name], v)
				}
			}
		}
		want, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		got := take(compareCounts(t, sides["a"], sides["ea"], sides["b"], sides["eb"]))
		if math.IsInf(want, 1) {
			require.Equal(t, want, got, row)
		} else {
			require.InDelta(t, want, got, 1e-6*math.Max(1, math.Abs(want)), "%v", row)
		}
		checked[row[0]]++
	}
	t.Log(checked)
	for _, kind := range []string{"two_rate_ratio", "two_rate_ratio_low", "two_rate_ratio_high", "two_rate_midp_greater", "strat_exact_low", "strat_exact_high",
		"strat_midp_less", "strat_midp_greater", "mh_rate_ratio", "mh_homogeneity_p"} {
		require.Positive(t, checked[kind], kind)
	}
}

// picker is the figure of a comparison that a kind of row speaks of; nil for kinds that are none.
func picker(kind string) func(proof.Cylinder) float64 {
	first := func(c proof.Cylinder) proof.Condition {
		for _, cond := range c.Conditions {
			if cond.Where.Gear == gear.Drive {
				return cond
			}
		}
		return proof.Condition{}
	}
	switch kind {
	case "two_rate_ratio":
		return func(c proof.Cylinder) float64 { return first(c).Ratio.Ratio }
	case "two_rate_ratio_low":
		return func(c proof.Cylinder) float64 { return first(c).Ratio.Low }
	case "two_rate_ratio_high":
		return func(c proof.Cylinder) float64 { return first(c).Ratio.High }
	case "two_rate_midp_greater":
		return func(c proof.Cylinder) float64 { return first(c).Ratio.Greater }
	case "strat_exact_low":
		return func(c proof.Cylinder) float64 { return c.Overall.Low }
	case "strat_exact_high":
		return func(c proof.Cylinder) float64 { return c.Overall.High }
	case "strat_midp_less":
		return func(c proof.Cylinder) float64 { return c.Overall.Less }
	case "strat_midp_greater":
		return func(c proof.Cylinder) float64 { return c.Overall.Greater }
	case "mh_rate_ratio":
		return func(c proof.Cylinder) float64 { return c.Overall.MantelHaenszel.Ratio }
	case "mh_homogeneity_p":
		return func(c proof.Cylinder) float64 { return c.Overall.MantelHaenszel.UnlikeChance }
	}
	return nil
}

// compareCounts lays each count to an engine speed of its own, too far apart to be similar.
func compareCounts(t *testing.T, a, na, b, nb []float64) proof.Cylinder {
	before := []spell{{cylinder: 2, gear: gear.Reverse, rpm: 700, load: 30, misses: 500, firings: 1000}}
	var after []spell
	for i := range a {
		rpm := []float64{700, 1200, 1800, 2500, 3500}[i]
		before = append(before, spell{cylinder: 2, gear: gear.Drive, rpm: rpm, load: 30, misses: b[i], firings: nb[i]})
		after = append(after, spell{cylinder: 2, gear: gear.Drive, rpm: rpm, load: 30, misses: a[i], firings: na[i]})
	}
	c := compare(t, summary(t, before...), summary(t, after...))
	require.Len(t, c.Cylinders, 1)
	return c.Cylinders[0]
}

// The British doctors' table: the common ratio of 1.42 hides one that falls with age (p 0.034), so no one ratio
// is told. (Doll and Hill 1966, as in the vectors.)
func TestUnlikeConditionsGetNoOneRatio(t *testing.T) {
	c := compareCounts(t, []float64{32, 104, 206, 186, 102}, []float64{52407, 43248, 28612, 12663, 5317},
		[]float64{2, 12, 28, 28, 31}, []float64{18790, 10673, 5710, 2585, 1462})
	require.False(t, c.OneRatio)
	c = compareCounts(t, []float64{4, 7}, []float64{400, 900}, []float64{5, 6}, []float64{500, 800})
	require.True(t, c.OneRatio)
}
