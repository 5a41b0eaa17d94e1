package rate

import (
	"encoding/csv"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// testdata/vectors/statistics-2-vectors.csv: check values that were computed apart from this package, by a program with
// gonum's mathext; Garwood's own table among them (from memory).
func TestVectors2(t *testing.T) {
	f, err := os.Open("../../testdata/vectors/statistics-2-vectors.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	met := 0
	for _, row := range rows[1:] {
		in := parseInputs(t, row[1])
		got, ok := compute2(t, row[0], in)
		require.True(t, ok, "nobody computes %s", row[0])
		want, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		tolerance := 1e-6 * math.Abs(want)
		switch row[3] {
		case "exact":
			tolerance = 1e-9
		case "1e-2 rel":
			tolerance = 1e-2 * math.Abs(want)
		case "0.5":
			tolerance = 0.5
		}
		if math.IsInf(want, 1) {
			require.True(t, math.IsInf(got, 1), "%v: %v", row[:2], got)
		} else {
			require.InDelta(t, want, got, tolerance+1e-12, "%v", row[:2])
		}
		met++
	}
	require.Equal(t, 72, met)
}

func compute2(t *testing.T, method string, in inputs) (float64, bool) {
	switch method {
	case "zero_truncated_low":
		return truncatedLow(in.one("k")), true
	case "burst_limits_low_misses", "burst_limits_high_misses":
		low, high := burstLimits(in.one("misses"), in.one("variance"), in.one("largest"))
		return map[bool]float64{true: low, false: high}[strings.Contains(method, "low")], true
	case "garwood_low":
		return garwoodLow(in.one("misses")), true
	case "garwood_high":
		return chiSquareQuantile(0.975, 2*in.one("misses")+2) / 2, true
	case "bad_log_evidence":
		return BadEvidence(Count{in.one("misses"), in.one("firings")}, in.one("dispersion"), in.one("ceiling")), true
	case "bad_threshold":
		return BadThreshold(int(in.one("cylinders")), in.one("alpha")), true
	case "gear_threshold":
		return WorseThreshold(1), true
	case "gear_log_evidence":
		return gearVector(t, in), true
	case "worse_log_evidence":
		before, after := countOf(t, in.text, "before"), countOf(t, in.text, "after")
		const each = 1.0 / 6 // these were computed with all ratios given the same weight
		return changeEvidence(before, after, in.one("dispersion"), [...]float64{each, each, each, each, each, each}), true
	case "worse_doubling_misses_until_evidence_7":
		return missesUntil7(in.one("misses in the baseline")), true
	case "pause_bursts_K1", "pause_bursts_K":
		return pauseVector(t, method, in.text), true
	case "proof_firings":
		start, each := ProofLine() // in bursts, of as many misses each and as rare as the least rate has them
		mean := in.one("mean burst")
		return mean * (start + each*in.one("misses after")/mean) / in.one("r0"), true
	case "clean_exact":
		return math.Log(surely) * in.one("mean burst") / in.one("r0"), true
	case "proof_as_it_was_firings":
		return FiringsToShow(Pauses{Firings: in.one("running before"), Bursts: in.one("bursts")}), true
	}
	return wholeRule(t, method, in)
}

// gearVector is windows of x misses, P and D firings.
func gearVector(t *testing.T, in inputs) float64 {
	text := regexp.MustCompile(`windows x,P,D=([^d]*)dispersion`).FindStringSubmatch(in.text)[1]
	var windows []Split
	p, d := 0.0, 0.0
	for w := range strings.SplitSeq(strings.Trim(text, ";"), ";") {
		v := strings.Split(w, ",")
		x, first, other := number(t, v[0]), number(t, v[2]), number(t, v[1])
		windows = append(windows, Split{x, first, other})
		p, d = p+other, d+first
	}
	return WorseEvidence(windows, d, p, in.one("dispersion"))
}

func number(t *testing.T, text string) float64 {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	require.NoError(t, err)
	return v
}

// countOf is "before=3 of 3000".
func countOf(t *testing.T, text, name string) Count {
	m := regexp.MustCompile(name + `=(\d+) of (\d+)`).FindStringSubmatch(text)
	return Count{number(t, m[1]), number(t, m[2])}
}

// missesUntil7 is the misses that a known doubling needs on its mean path until evidence of 7: firings are taken at the
// old rate of one a firing, so that a doubling brings two misses a firing.
func missesUntil7(before float64) float64 {
	for x := 1.0; x < 1e5; x += 0.25 {
		after := x / 2
		if x*math.Ln2+(before+x)*math.Log((before+after)/(before+2*after)) >= 7 {
			return x
		}
	}
	return math.Inf(1)
}

// pauseVector is "pauses=1500;900;2100;misses=127": pauses within bursts are left out of the list unless told.
func pauseVector(t *testing.T, method, text string) float64 {
	list := regexp.MustCompile(`pauses=(.*);misses=(\d+)`).FindStringSubmatch(text)
	var pauses []Pause
	told := 0.0
	for word := range strings.SplitSeq(list[1], ";") {
		p := Pause{Times: 1}
		if m := regexp.MustCompile(`^(\d+) \((\d+) times\)$`).FindStringSubmatch(word); m != nil {
			p = Pause{number(t, m[1]), number(t, m[2])}
		} else {
			p.Firings = number(t, word)
		}
		told += p.Times
		pauses = append(pauses, p)
	}
	misses := number(t, list[2])
	all, squares := 0.0, 0.0
	for _, p := range pauses {
		all += p.Times * p.Firings
		squares += p.Times * p.Firings * p.Firings
	}
	if method == "pause_bursts_K1" {
		return math.Min(misses, 2*all*all/squares-1)
	}
	if told < misses { // those within a burst take no time
		pauses = append(pauses, Pause{0, misses - told})
	}
	return PausesOf(pauses, 1).Bursts
}

// wholeRule is section 1 as a whole, on windows of 100 firings.
func wholeRule(t *testing.T, method string, in inputs) (float64, bool) {
	var l Ladder
	for word := range strings.FieldsSeq(in.lists["windows of 100 firings"]) {
		l.Add(number(t, word), 100)
	}
	b := Measure(LimitsLeast, 1, Fitted{&l, l.Total().Rate()})
	e, sure := Limited(b)
	switch method {
	case "limits_judged":
		return map[bool]float64{true: 1}[sure != Unjudged], true
	case "limits_low_misses":
		return e.Low * e.Firings / 1000, true
	case "limits_high_misses":
		return e.High * e.Firings / 1000, true
	case "ladder_phi":
		for _, k := range b.Lengths {
			if k.Blocks == in.one("blocks") {
				return k.Phi, true
			}
		}
	}
	return 0, false
}
