package cause

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// smallBook has two causes and one fact with two levels, seen with some chance under each.
func smallBook(prior, sees, seesToo float64) *Book {
	return &Book{
		causes:   []knownCause{{key: "a", name: "a", prior: prior}, {key: "b", name: "b", prior: 1 - prior}},
		features: []feature{{"g", "f", []string{"yes", "no"}, []string{"yes", "no"}}},
		likelihoods: map[string][]row{"f": {
			{cause: "a", levels: []float64{sees, 1 - sees}}, {cause: "b", levels: []float64{seesToo, 1 - seesToo}},
		}},
		tests: []knownTest{{key: "t", minutes: 10, outcomes: []string{"yes", "no"}}},
		outcomes: map[string][]row{"t": {
			{cause: "a", levels: []float64{sees, 1 - sees}}, {cause: "b", levels: []float64{seesToo, 1 - seesToo}},
		}},
		cautions: map[string]string{"always": "mind"},
		powers:   powers{facts: 1, tests: 1, elses: 1},
	}
}

// The worked example of Eddy 1982, as Gigerenzer and Hoffrage 1995 print it (from memory): prior 1 %, hit rate 80 %,
// false alarms 9.6 %; after a positive result 7.8 %. After two, 0.64 * 0.01 against 0.009216 * 0.99: 41.2 %, by hand.
func TestBayesWorkedExample(t *testing.T) {
	b := smallBook(0.01, 0.8, 0.096)
	e := Evidence{}
	seen := Fact{Feature: "f", Weights: []float64{1, 0}}
	shares := sharesOf(b.weigh(&e, []Fact{seen}))
	assert.InDelta(t, 0.0776, shares[0], 5e-5)

	e.Findings = []Finding{{Test: "t", Weights: []float64{1, 0}}}
	assert.InDelta(t, 0.0064/(0.0064+0.00912384), sharesOf(b.weigh(&e, []Fact{seen}))[0], 1e-9)

	// A fact that another one of its group has said already weighs nothing, and one that tells nothing neither.
	e.Findings = nil
	again := Fact{Feature: "f", Weights: []float64{1, 0}, Said: "f"}
	assert.InDelta(t, 0.0776, sharesOf(b.weigh(&e, []Fact{seen, again}))[0], 5e-5)
	flat := smallBook(0.3, 0.5, 0.5)
	assert.InDelta(t, 0.3, sharesOf(flat.weigh(&e, []Fact{{Feature: "f", Weights: []float64{0.5, 0.5}}}))[0], 1e-12)
}

// Soft evidence by hand: levels known by 0.7 and 0.3 make 0.7*0.8 + 0.3*0.2 = 0.62 of the first cause and
// 0.7*0.1 + 0.3*0.9 = 0.34 of the second; even priors leave 0.62/0.96.
func TestSoftEvidence(t *testing.T) {
	b := smallBook(0.5, 0.8, 0.1)
	shares := sharesOf(b.weigh(&Evidence{}, []Fact{{Feature: "f", Weights: []float64{0.7, 0.3}}}))
	assert.InDelta(t, 0.62/0.96, shares[0], 1e-12)
}

// Two causes alike beforehand and a test that is right nine times in ten: a binary symmetric channel, whose capacity
// 1 - H(0.1) is 0.531 bits (Cover and Thomas, section 7.1.4, from memory; by hand 1 - 0.1*3.3219 - 0.9*0.1520).
func TestExpectedInformation(t *testing.T) {
	b := smallBook(0.5, 0.9, 0.1)
	e := Evidence{}
	all := b.weigh(&e, nil)
	shares := sharesOf(all)
	assert.InDelta(t, 1, entropy(shares), 1e-12)
	tests := b.worthwhile(&e, &scope{}, all, shares)
	require.Len(t, tests, 1)
	assert.InDelta(t, 0.5310, tests[0].Bits, 5e-5)
	assert.InDelta(t, 0.5310/10, tests[0].worth(), 5e-6)
	assert.InDelta(t, 0.9, tests[0].Outcomes[0].Then, 1e-12)
	assert.Equal(t, "a", tests[0].Outcomes[0].Leads)

	// Shares of 1/2, 1/4, 1/8 and 1/8 hold 1.75 bits (Cover and Thomas, example 2.1.1, from memory).
	assert.InDelta(t, 1.75, entropy([]float64{0.5, 0.25, 0.125, 0.125}), 1e-12)
	assert.Zero(t, entropy([]float64{1, 0}))

	// What was made is not named again, and what tells nothing is not named at all.
	e.Findings = []Finding{{Test: "t", Weights: []float64{1, 0}}}
	assert.Empty(t, b.worthwhile(&e, &scope{}, all, shares))
	useless := smallBook(0.5, 0.5, 0.5)
	assert.Empty(t, useless.worthwhile(&Evidence{}, &scope{}, useless.weigh(&e, nil), shares))
}

// Of two tests that tell the same the cheaper goes first; materials count as minutes.
func TestCheaperTestFirst(t *testing.T) {
	b := smallBook(0.5, 0.9, 0.1)
	b.tests = append(b.tests, knownTest{key: "quick", minutes: 4, materials: 5, outcomes: []string{"yes", "no"}},
		knownTest{key: "dear", minutes: 4, materials: 7, outcomes: []string{"yes", "no"}})
	b.outcomes["quick"], b.outcomes["dear"] = b.outcomes["t"], b.outcomes["t"]
	e := Evidence{}
	all := b.weigh(&e, nil)
	var order []string
	for _, test := range b.worthwhile(&e, &scope{}, all, sharesOf(all)) {
		order = append(order, test.Key)
	}
	assert.Equal(t, []string{"quick", "t", "dear"}, order)
}

// A test that must be made at every cylinder takes longer for it, one of the whole engine or an exchange does not.
func TestMinutesOfSeveralCylinders(t *testing.T) {
	each, whole, swap := knownTest{name: "read the plug of {cyl}", outcomes: []string{"worn"}}, knownTest{name: "smoke", outcomes: []string{"none"}},
		knownTest{name: "exchange {cyl} and {other}", outcomes: []string{"followed"}}
	e := Evidence{Cylinders: make([]Cylinder, 6)}
	one, all, unnamed := &scope{cylinders: []int{4}}, &scope{cylinders: []int{1, 2, 3, 4, 5, 6}}, &scope{}
	assert.Equal(t, 1.0, e.times(one, &each))
	assert.Equal(t, 3.5, e.times(all, &each), "the first, and five of half the time")
	assert.Equal(t, 3.5, e.times(unnamed, &each), "no cylinder is named: all of them")
	assert.Equal(t, 1.0, e.times(all, &whole))
	assert.Equal(t, 1.0, e.times(all, &swap))
}

// The patterns are probability distributions: over all ways in which 12 misses can fall on three cylinders each sums to
// 1 (checked by counting them out).
func TestPatternsSumToOne(t *testing.T) {
	const misses = 12
	for _, p := range []pattern{{scopeOne, []int{2}}, {scopePair, []int{1, 3}}, {scopeAll, []int{1, 2, 3}}, {scopeSeveral, []int{1, 2, 3}}} {
		sum := 0.0
		for a := range misses + 1 {
			for b := range misses + 1 - a {
				c := misses - a - b
				ways := combin.Binomial(misses, a) * combin.Binomial(misses-a, b)
				sum += float64(ways) * math.Exp(p.log([]float64{float64(a), float64(b), float64(c)}))
			}
		}
		assert.InDelta(t, 1, sum, 1e-9, "%v", p)
	}
}

// One stratum of like running makes the misses of one side binomial, so that flat on the logarithm of the ratio the
// share is Beta distributed (Haldane's prior): levels of equal width are weighed as its distribution function has them.
func TestContrastAgainstBeta(t *testing.T) {
	for _, c := range []struct{ from, to Tally }{
		{Tally{4, 1000}, Tally{30, 1200}}, {Tally{12, 800}, Tally{12, 800}}, {Tally{25, 900}, Tally{3, 2000}},
	} {
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			k := contrast{strata: []stratum{{c.from, c.to}}, phi: 1}
			beta := distuv.Beta{Alpha: c.to.Misses, Beta: c.from.Misses}
			below := func(ratio float64) float64 {
				return beta.CDF(ratio * c.to.Firings / (ratio*c.to.Firings + c.from.Firings))
			}
			half, twice := 0.5, 2.0
			mass := []float64{below(half) - below(1.0/utmost), below(twice) - below(half), below(utmost) - below(twice)}
			width := []float64{math.Log(half * utmost), math.Log(twice / half), math.Log(utmost / twice)}
			sum := 0.0
			for i := range mass {
				mass[i] /= width[i]
				sum += mass[i]
			}
			for i, w := range k.weights(half, twice) {
				assert.InDelta(t, mass[i]/sum, w, 0.02)
			}
		})
	}
}

// Little running tells nothing, and bursts make it tell less.
func TestContrastKnowsItsLimits(t *testing.T) {
	c := contrast{strata: []stratum{{Tally{0, 1000}, Tally{2, 1000}}}, phi: 1}
	assert.Nil(t, c.weights(0.5, 2), "two misses")
	c.strata[0].to.Misses = 12
	assert.Greater(t, c.weights(0.5, 2)[2], 0.95)
	sure := c.weights(0.5, 2)[2]
	c.phi = 3
	assert.Less(t, c.weights(0.5, 2)[2], sure)
	c.strata[0].to.Firings = fewFirings - 1
	assert.Nil(t, c.weights(0.5, 2), "too few firings")

	// A rate that differs between strata, and only there, is no contrast: 40 of 1,000 hot and 2 cool on both sides, but
	// mostly hot on one (Simpson's paradox).
	same := contrast{phi: 1, strata: []stratum{{Tally{4, 2000}, Tally{0.4, 200}}, {Tally{8, 200}, Tally{80, 2000}}}}
	assert.Greater(t, same.weights(0.5, 2)[1], 0.9)
	from, to := same.sums()
	assert.Greater(t, to.rate()/from.rate(), 5.0, "though lumped together they differ")
}
