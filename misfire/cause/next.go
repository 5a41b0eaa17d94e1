package cause

import (
	"cmp"
	"math"
	"slices"
	"strings"
)

// Test is one that can be made next.
type Test struct {
	Key, Part          string
	Name, How, Decides Text
	Minutes, Materials float64 // of work; of what is used up, in minutes of work
	Bits               float64 // doubt that it is expected to take away
	Outcomes           []Outcome
	Cautions           []string
}

// Outcome is what may come of a test.
type Outcome struct {
	Key   string
	Share float64 // how likely it is, as things stand
	Leads string  // the cause that would then lead, with its share
	Then  float64
}

// littleGain is the doubt, in bits, that a test must be expected to take away to be worth naming: a fair coin is 1.
// leastGain is what it must take away to tell anything at all.
const (
	littleGain = 0.01
	leastGain  = 1e-6
)

// worthwhile are the tests not yet made, those first that tell most for their minutes and materials.
func (b *Book) worthwhile(e *Evidence, s *scope, all []believed, shares []float64) []Test {
	var out []Test
	about := e.about(s)
	for i := range b.tests {
		t := &b.tests[i]
		if e.made(t.key) || !e.Ignition.meets(t.need) || t.exchanges() && e.clean(s) == 0 {
			continue
		}
		test := Test{Key: t.key, Name: about(t.name), Part: t.part, How: about(t.how), Decides: about(t.decides),
			Minutes: t.minutes * e.times(s, t), Materials: t.materials}
		for _, c := range t.cautions {
			test.Cautions = append(test.Cautions, b.cautions[c])
		}
		test.Cautions = append(test.Cautions, b.cautions["always"])
		test.ask(b.table(t, all, e.Ignition), all, t.outcomes, shares)
		out = append(out, test)
	}
	slices.SortStableFunc(out, func(x, y Test) int { return cmp.Compare(y.worth(), x.worth()) })
	if worth := slices.DeleteFunc(slices.Clone(out), func(t Test) bool { return t.Bits < littleGain }); len(worth) > 0 {
		return worth
	}
	// However likely a cause is, no part comes before a test of it: the one that tells most, if it tells at all.
	slices.SortStableFunc(out, func(x, y Test) int { return cmp.Compare(y.Bits, x.Bits) })
	if len(out) > 0 && out[0].Bits > leastGain {
		return out[:1]
	}
	return nil
}

// times is how many times the minutes of a test are taken, where it must be made at several cylinders: each further one
// takes half as long as the first. Judgement.
func (e *Evidence) times(s *scope, t *knownTest) float64 {
	n := len(s.cylinders)
	if n == 0 {
		n = e.count()
	}
	if !strings.Contains(t.name, "{cyl}") || n < 2 || t.exchanges() {
		return 1
	}
	return 1 + float64(n-1)/2
}

// exchanges reports whether a test wants a clean cylinder to exchange parts with.
func (t *knownTest) exchanges() bool { return t.outcomes[0] == "followed" }

func (e *Evidence) made(test string) bool {
	return slices.ContainsFunc(e.Findings, func(f Finding) bool { return f.Test == test })
}

// worth is the doubt taken away for each minute of work and material.
func (t *Test) worth() float64 { return t.Bits / (t.Minutes + t.Materials) }

// table is how often each cause shows each outcome of a test.
func (b *Book) table(t *knownTest, all []believed, ignition Ignition) [][]float64 {
	out := make([][]float64, len(all))
	for i, c := range all {
		out[i] = best(b.outcomes[t.key], c.key, ignition).levels
	}
	return out
}

// ask works out what each outcome would leave to be believed, and how much doubt is expected to go: the mutual
// information of outcome and cause (Shannon 1948; Lindley 1956 for its use to choose an experiment; from memory).
func (t *Test) ask(table [][]float64, all []believed, outcomes []string, shares []float64) {
	left := 0.0
	for o, key := range outcomes {
		after, sum := make([]float64, len(shares)), 0.0
		for i, share := range shares {
			after[i] = share * table[i][o]
			sum += after[i]
		}
		for i := range after {
			after[i] /= sum
		}
		most := highest(after)
		left += sum * entropy(after)
		t.Outcomes = append(t.Outcomes, Outcome{Key: key, Share: sum, Leads: all[most].name, Then: after[most]})
	}
	t.Bits = max(0, entropy(shares)-left)
}

// entropy is the doubt among shares, in bits.
func entropy(shares []float64) float64 {
	bits := 0.0
	for _, p := range shares {
		if p > 0 {
			bits -= p * math.Log2(p)
		}
	}
	return bits
}

// Found is the finding that a test came out so; false where the test or the outcome is not known.
func (b *Book) Found(test, outcome string, found Telling) (Finding, bool) {
	t, known := b.test(test)
	at := slices.Index(t.outcomes, outcome)
	if !known || at < 0 {
		return Finding{}, false
	}
	weights := make([]float64, len(t.outcomes))
	weights[at] = 1
	return Finding{Test: test, Weights: weights, Found: found}, true
}
