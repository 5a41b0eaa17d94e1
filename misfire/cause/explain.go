package cause

import (
	"cmp"
	"math"
	"slices"

	"stumble/misfire"
	"stumble/misfire/bench"

	"gonum.org/v1/gonum/floats"
)

// Result is what the evidence comes to.
type Result struct {
	Basis  Basis          // what the ranking rests on
	Clash  *misfire.Clash // what is to be settled first, where Basis is NumberingOpen; else nil
	None   Unexplained    // why there is nothing to explain, where Basis is Nothing
	Notes  []Note         // what a reader must know to take the shares for what they are
	Facts  []Fact         // what was found; those with Said weigh nothing
	Ranked []Ranked       // the likeliest first; empty when there is nothing to explain
	Bits   float64        // doubt left among the causes: Shannon's entropy; 0 is none
	Done   []Finding
	Next   *Test  // the test that tells most for its time and money; nil when none would tell anything
	Others []Test // the next best, at most two
	Driven bool   // drives are behind it
}

// Basis is the kind of evidence, the strongest that there is.
type Basis uint8

// Kinds of evidence.
const (
	Nothing Basis = iota // neither misses nor misfire codes
	FromCodes
	FromLastCycle // the car's own counts of its last driving cycle, and codes
	FromDips
	FromCounts
	FromReport    // what the driver reports, alone
	NumberingOpen // codes and counts name different cylinders: to be settled before a cause is named
)

// String returns the basis as one word: "counts", "idle_dips", "last_driving_cycle", "codes", "driver_report", "numbering_open" or
// "nothing".
func (b Basis) String() string {
	return [...]string{Nothing: "nothing", FromCodes: "codes", FromLastCycle: "last_driving_cycle", FromDips: "idle_dips", FromCounts: "counts", FromReport: "driver_report",
		NumberingOpen: "numbering_open"}[b]
}

// MarshalText returns the word of String.
func (b Basis) MarshalText() ([]byte, error) { return []byte(b.String()), nil }

// Ranked is one cause with its share of the belief.
type Ranked struct {
	Key, Name string
	Cylinders []int   // what it would sit on; empty for the whole engine
	Bank      int     // of a bank's cause, 0 unknown
	Share     float64 // 0 to 1; those of a result sum to 1
	For       []Reason
	Against   []Reason
	Overturn  Text // the finding that would take it off the list

	mild Reason // the strongest of what speaks for it too little to be told
}

// Reason is a fact as it bears on a cause.
type Reason struct {
	Fact   Telling
	Why    string  // why it bears on the cause
	Source string  // whose rule that is
	Times  float64 // how many times likelier the fact is with this cause than with the rest as now believed; under 1 less
	ByTest bool    // the fact is how a test came out
	// Singled tells that the fact singles the cause out: hardly any other would show it. What several parts would show
	// proves none of them.
	Singled bool
	// Expected is what the cause shows most often, in words; of reasons against it where that is not what was found.
	Expected string
}

// Told is where a reason begins to be told: facts that hardly move a cause are left out.
const (
	toldFor     = 1.2
	mildly      = 1.05 // of the likeliest, if nothing stronger speaks for it
	toldAgainst = 1 / toldFor
)

// believed is a cause that can be, while it is weighed.
type believed struct {
	*knownCause
	log      float64
	surprise float64 // log of how much likelier than what was found that is which it shows on average; under 0 it fits badly
}

// Explain ranks the causes and finds the next test.
func (b *Book) Explain(e Evidence) *Result {
	e.level()
	s, basis := e.subject()
	r := &Result{Basis: basis, Driven: e.Drives > 0}
	if basis == FromCounts && e.Clash.Open() { // which cylinder misses is not known: no part of it can be named
		return &Result{Basis: NumberingOpen, Clash: e.Clash}
	}
	if basis == Nothing {
		r.None = e.unexplained(b)
		return r
	}
	e.Findings = e.gathered(b, &s)
	r.Done = e.Findings
	r.Facts = e.facts(b, &s)
	r.Notes = e.notes(b, &s, basis)
	all := b.weigh(&e, r.Facts)
	shares := sharesOf(all)
	r.Bits = entropy(shares)
	for i, c := range all {
		r.Ranked = append(r.Ranked, b.ranked(&e, &s, c.knownCause, shares[i]))
	}
	b.reasons(&e, r, all, shares)
	slices.SortStableFunc(r.Ranked, func(x, y Ranked) int { return cmp.Compare(y.Share, x.Share) })
	b.firstForAReason(r)
	if !r.Proven() {
		if tests := b.worthwhile(&e, &s, all, shares); len(tests) > 0 {
			r.Next, r.Others = &tests[0], tests[1:min(len(tests), 3)]
		}
	}
	return r
}

// level gives every list as many cylinders as the engine has: some may have no counter. The caller's lists stay as they
// are.
func (e *Evidence) level() {
	n := e.count()
	if len(e.Cylinders) > 0 {
		e.Cylinders = append(slices.Clone(e.Cylinders), make([]Cylinder, n-len(e.Cylinders))...)
	}
	if len(e.Last) > 0 {
		e.Last = append(slices.Clone(e.Last), make([]float64, n-len(e.Last))...)
	}
}

// sure is the share that a cause must have to be taken as proven.
const sure = 0.95

// Proven reports whether the first cause is beyond doubt and a test has shown it. What is likely without a test is not.
func (r *Result) Proven() bool {
	return len(r.Ranked) > 0 && r.Ranked[0].Share >= sure && slices.ContainsFunc(r.Ranked[0].For, func(f Reason) bool {
		return f.ByTest && f.Singled
	})
}

// subject is the cylinders to explain, and by what they are known.
func (e *Evidence) subject() (scope, Basis) {
	if e.counted() && e.misses() {
		return e.scopeOf(), FromCounts
	}
	s, _, coded := e.coded()
	last, told := e.lastScope()
	switch {
	case told && (coded || !e.counted()):
		return last, FromLastCycle
	case coded && e.counted():
		return s, FromCodes
	case e.Dips[0].Misses+e.Dips[1].Misses >= fewMisses:
		return s, FromDips
	case coded:
		return s, FromCodes
	case len(e.Told) > 0 && !e.counted():
		return s, FromReport
	}
	return s, Nothing
}

// unexplained tells why there is nothing to explain.
func (e *Evidence) unexplained(b *Book) Unexplained {
	u := Unexplained{Counted: e.counted(), Driven: e.Drives > 0, Read: e.Codes.Read, Stopped: e.stopped(b)}
	for i := range e.Bench {
		if j := &e.Bench[i]; j.Mark == bench.Bad && !j.Redone {
			if _, known := bench.KindOf(j.Reading.Part, j.Reading.Quantity); known {
				u.Bad = append(u.Bad, j.Reading)
			}
		}
	}
	return u
}

// How much the logarithm of a fact's chance weighs, of a test's, and of a fact's under something else; what the odds of
// something else are where the likeliest cause fits as badly as it may. Fitted on the tuned half of the worked cases, by
// what was said against what was right in tenths. The rows are soft and their facts no independent witnesses; the two
// nearly make up for each other, so the powers lie near 1.
type powers struct{ facts, tests, elses, unexplained float64 }

var fitted = powers{facts: 1.3, tests: 1.35, elses: 1.12, unexplained: 0.03}

// weigh is Bayes's rule: the prior of each cause that can be, times the chance of each fact and finding under it.
func (b *Book) weigh(e *Evidence, facts []Fact) []believed {
	var all []believed
	for i := range b.causes {
		c := &b.causes[i]
		if !e.can(c) {
			continue
		}
		x := believed{knownCause: c, log: math.Log(c.prior * e.Ignition.share(c.need))}
		for i := range facts {
			if f := &facts[i]; f.Said == "" {
				power := b.powers.facts
				if c.key == somethingElse && f.rows == nil {
					power = b.powers.elses
				}
				x.take(best(b.rowsFor(f), c.key, e.Ignition), f.Weights, power, f.rows == nil)
			}
		}
		for _, f := range e.Findings {
			x.take(best(b.outcomes[f.Test], c.key, e.Ignition), f.Weights, b.powers.tests, true)
		}
		all = append(all, x)
	}
	surprise(all, b.powers.unexplained)
	return all
}

// take weighs one fact. What codes and the driver tell surprises only as strangers: nearly any cause may go without
// them, and with one more.
func (x *believed) take(r *row, weights []float64, power float64, surprises bool) {
	chance := math.Log(r.chance(weights))
	x.log += power * chance
	if surprises && slices.Max(weights) >= clear {
		x.surprise += power * max(mostSurprise, chance+r.entropy())
	}
}

// entropy is the doubt in what a cause shows, in natural units: how surprising what it shows is, on average.
func (r *row) entropy() float64 {
	sum := 0.0
	for _, p := range r.levels {
		sum -= p * math.Log(p)
	}
	return sum
}

// Something else is behind the misses where even the likeliest cause would have to show things that it seldom does. Its
// odds against that cause are then what the surprise is beyond the common, of facts that are clear; one fact alone
// surprises no more than so much. Fitted on the tuned half of the worked cases.
const (
	clear        = 0.6
	mostSurprise = -2.0
)

// surprise raises something else by how badly the likeliest cause fits.
func surprise(all []believed, unexplained float64) {
	first, other := -1, -1
	for i := range all {
		switch {
		case all[i].key == somethingElse:
			other = i
		case first < 0 || all[i].log > all[first].log:
			first = i
		}
	}
	if first < 0 || other < 0 || unexplained == 0 {
		return
	}
	misfit := all[first].log + math.Log(unexplained) - all[first].surprise
	all[other].log = floats.LogSumExp([]float64{all[other].log, misfit})
}

// can tells whether ignition and block have what a cause needs.
func (e *Evidence) can(c *knownCause) bool {
	if c.need == "banks" {
		return e.twoBanks()
	}
	if c.key == "coil_half" || c.key == "coil_shared" {
		if n := e.count(); n%2 != 0 && n > 1 {
			return false // an odd number of cylinders cannot share coils in pairs
		}
	}
	return e.Ignition.meets(c.need)
}

// sharesOf makes logarithms of odds into shares that sum to 1.
func sharesOf(all []believed) []float64 {
	top, sum := math.Inf(-1), 0.0
	for _, c := range all {
		top = max(top, c.log)
	}
	shares := make([]float64, len(all))
	for i, c := range all {
		shares[i] = math.Exp(c.log - top)
		sum += shares[i]
	}
	for i := range shares {
		shares[i] /= sum
	}
	return shares
}

func (b *Book) ranked(e *Evidence, s *scope, c *knownCause, share float64) Ranked {
	r := Ranked{Key: c.key, Name: c.name, Share: share}
	switch c.where {
	case "engine":
	case "bank":
		r.Bank = s.bank
	default:
		r.Cylinders = e.named(s)
	}
	r.Overturn = e.about(s)(c.overturn)
	return r
}

// reasons puts each fact and finding where it bears on a cause.
func (b *Book) reasons(e *Evidence, r *Result, all []believed, shares []float64) {
	for i := range r.Facts {
		if f := &r.Facts[i]; f.Said == "" {
			bear(e, r, shares, witness{b.rowsFor(f), b.words(f.Feature), f.Weights, f.Found, false})
		}
	}
	for _, f := range e.Findings {
		t, _ := b.test(f.Test)
		bear(e, r, shares, witness{b.outcomes[f.Test], t.outcomes, f.Weights, f.Found, true})
	}
	for i := range r.Ranked {
		c := &r.Ranked[i]
		slices.SortStableFunc(c.For, func(x, y Reason) int { return cmp.Compare(y.Times, x.Times) })
		slices.SortStableFunc(c.Against, func(x, y Reason) int { return cmp.Compare(x.Times, y.Times) })
	}
}

// firstForAReason gives the likeliest cause a reason where none is strong: the strongest mild one, else that it is common.
func (b *Book) firstForAReason(r *Result) {
	first := &r.Ranked[0]
	switch {
	case len(first.For) > 0:
	case first.mild.Times >= mildly:
		first.For = []Reason{first.mild}
	default:
		first.For = []Reason{{Fact: Telling{Kind: MostCommon}, Why: b.elses["common"], Source: "judgement", Times: 1}}
	}
}

// witness is a fact or a finding, with how often the causes show it.
type witness struct {
	rows    []row
	words   []string // of its levels
	weights []float64
	found   Telling
	byTest  bool
}

// bear sets how often each cause shows a thing against how often the causes as now believed do.
func bear(e *Evidence, r *Result, shares []float64, w witness) {
	chances, mean := make([]float64, len(shares)), 0.0
	found := make([]*row, len(shares))
	for i := range r.Ranked {
		found[i] = best(w.rows, r.Ranked[i].Key, e.Ignition)
		chances[i] = found[i].chance(w.weights)
		mean += shares[i] * chances[i]
	}
	for i := range r.Ranked {
		c := &r.Ranked[i]
		// Held against the others alone: a cause that has nearly all of the belief would else hide its own reasons.
		rest := chances[i]
		if shares[i] < 1 {
			rest = (mean - shares[i]*chances[i]) / (1 - shares[i])
		}
		reason := Reason{Fact: w.found, Why: found[i].reason, Source: found[i].source, Times: chances[i] / rest, ByTest: w.byTest,
			Singled: singled(chances, i)}
		switch {
		case reason.Times >= toldFor:
			c.For = append(c.For, reason)
		case reason.Times > max(1, c.mild.Times):
			c.mild = reason
		case reason.Times <= toldAgainst:
			if likeliest := found[i].likeliest(); likeliest != highest(w.weights) && len(w.words) > 0 {
				reason.Expected = w.words[likeliest]
			}
			c.Against = append(c.Against, reason)
		}
	}
}

// singled reports whether hardly any cause but one shows a fact as often, by their chances: a pair of parts that come
// together may.
func singled(chances []float64, i int) bool {
	const together, often = 2, 0.5
	n := 0
	for _, c := range chances {
		if c >= often*chances[i] {
			n++
		}
	}
	return n <= together
}

// about returns texts of the tables about the cylinders of s.
func (e *Evidence) about(s *scope) func(string) Text {
	t := Text{Clean: e.clean(s), Cylinders: e.named(s)}
	return func(table string) Text {
		t.Table = table
		return t
	}
}

// clean is the cylinder to exchange parts with: not one of those that miss, not their coil partner, with the fewest
// misses, and near by. 0 when there is none.
func (e *Evidence) clean(s *scope) int {
	if len(s.cylinders) == 0 || s.kind == scopeAll || s.kind == scopeSeveral {
		return 0
	}
	first, found := s.cylinders[0], 0
	const alike = 1.0 // misses of 1,000 firings: no difference
	for cyl := 1; cyl <= e.count(); cyl++ {
		if slices.Contains(s.cylinders, cyl) || slices.Contains(s.left, cyl) || e.mayShare(s, cyl) {
			continue
		}
		if found == 0 || e.rate(cyl)+alike < e.rate(found) || e.rate(cyl) < e.rate(found)+alike && abs(cyl-first) < abs(found-first) {
			found = cyl
		}
	}
	return found
}

// mayShare reports whether a cylinder may share a coil with one of those that miss.
func (e *Evidence) mayShare(s *scope, cyl int) bool {
	if e.Ignition == CoilOnPlug {
		return false
	}
	mate := e.Engine.MateOf(cyl)
	return mate != 0 && slices.Contains(s.cylinders, mate)
}

func (e *Evidence) rate(cyl int) float64 {
	if cyl > len(e.Cylinders) || e.Cylinders[cyl-1].Total.Firings == 0 {
		return 0
	}
	return e.Cylinders[cyl-1].Total.Rate()
}

func abs(n int) int { return max(n, -n) }

// notes say what the shares do not.
func (e *Evidence) notes(b *Book, s *scope, basis Basis) (notes []Note) {
	add := func(when bool, n Note) {
		if when {
			notes = append(notes, n)
		}
	}
	add(basis == FromCodes && !e.counted(), Note{Kind: CodesAlone})
	add(basis == FromCodes && e.counted(), Note{Kind: CodesUnseen})
	add(basis == FromLastCycle, Note{Kind: LastCycleAlone})
	add(basis == FromDips, Note{Kind: DipsAlone})
	add(basis == FromReport, Note{Kind: ReportAlone})
	if code := e.stopped(b); code != 0 {
		add(true, Note{Kind: MonitorStopped, Code: code})
	}
	add(len(s.left) > 0, Note{Kind: OtherFault, Cylinders: s.left, Worst: s.cylinders})
	add(len(e.Engine.FiringOrder) == 0 && s.kind != scopeBank, Note{Kind: LayoutNotTold})
	add(e.Ignition == IgnitionUnknown, Note{Kind: IgnitionNotTold})
	add(e.Codes.Cleared, Note{Kind: ClearedLately})
	notes = append(notes, e.firstThings()...)
	add(e.trimsLeftOut(), Note{Kind: TrimsLeftOut})
	return notes
}

// trimsLeftOut reports whether a trim was read where its bank misses too much for it.
func (e *Evidence) trimsLeftOut() bool {
	for bank := 1; bank <= 2; bank++ {
		for p := range TrimPlaces {
			if e.missed(bank, TrimPlace(p)) > trap && e.Trims[bank-1][p].Samples > 0 {
				return true
			}
		}
	}
	return false
}
