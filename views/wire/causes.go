package wire

import (
	"stumble/misfire/cause"
	"stumble/views/report"
	"stumble/views/say"
)

// Causes is ranked causes: {"kind":"causes",...}.
type Causes struct {
	Kind     string      `json:"kind"`
	Job      *int64      `json:"job"` // null: of no job
	Vehicle  Word        `json:"vehicle"`
	Drives   Word        `json:"from"`
	Ignition Word        `json:"ignition"` // "each", "shared", "distributor"; null when not told
	Sentence string      `json:"sentence"`
	Basis    cause.Basis `json:"basis"`      // "counts", "idle_dips", "last_driving_cycle", "codes", "driver_report", "numbering_open", "nothing"
	Bits     Number      `json:"doubt_bits"` // left among the causes
	Ranked   []Ranked    `json:"ranked"`     // the likeliest first; shares sum to 1
	Next     *Test       `json:"next_test"`  // null when none would tell anything
	Others   []Test      `json:"other_tests"`
	Facts    []Fact      `json:"facts"`
	Done     []TestDone  `json:"tests_made"`
	Swap     *Swap       `json:"swap"` // an exchange of parts that named the part; null where none did
	Notes    []string    `json:"notes"`
	Figures  string      `json:"figures"` // "judgement": shares and times are judgement in numbers where no reason names a source
}

// Ranked is one cause.
type Ranked struct {
	Cause     string   `json:"cause"`
	Name      string   `json:"name"`
	Cylinders []int    `json:"cylinders"` // what it would sit on; empty for the whole engine
	Bank      *int     `json:"bank"`
	Share     Number   `json:"share"` // 0 to 1
	For       []Reason `json:"for"`
	Against   []Reason `json:"against"`
	Overturn  string   `json:"overturned_by"`
}

// Reason is a fact as it bears on a cause.
type Reason struct {
	Fact   string `json:"fact"`
	Why    string `json:"why"`
	Source string `json:"source"`
	Times  Number `json:"times"`      // how many times likelier with this cause than with the others
	Usual  Word   `json:"more_usual"` // what the cause shows most often; null where that is what was found
	ByTest bool   `json:"by_test"`    // the fact is how a test came out
}

// Test is a test to make.
type Test struct {
	Test      string        `json:"test"`
	Name      string        `json:"name"`
	Part      string        `json:"part"`
	Minutes   Number        `json:"minutes"`
	Materials Number        `json:"materials_minutes"` // what is used up, as minutes of work
	Bits      Number        `json:"expected_bits"`     // of doubt that it takes away
	How       string        `json:"how"`
	Decides   string        `json:"decides"` // which reading means what
	Outcomes  []TestOutcome `json:"outcomes"`
	Cautions  []string      `json:"cautions"`
}

// TestOutcome is what may come of a test.
type TestOutcome struct {
	Outcome string `json:"outcome"`
	Share   Number `json:"share"` // how likely it is now
	Leads   string `json:"then_leads"`
	Then    Number `json:"then_share"`
}

// Fact is one thing that was found.
type Fact struct {
	Fact    string   `json:"fact"`
	Feature string   `json:"feature"`
	Weights []Number `json:"weights"` // of its levels, summing to 1
	Said    Word     `json:"said_by"` // the stronger witness of the same; null when it is weighed itself
}

// TestDone is a test that was made.
type TestDone struct {
	Test string `json:"test"`
	Text string `json:"text"`
}

// NewCauses is causes as an object.
func NewCauses(c *report.Causes) Causes {
	r := c.Result
	words := say.English()
	o := Causes{
		Kind: "causes", Vehicle: Word(c.Vehicle), Swap: swapObject(c.Followed), Drives: Word(c.Drives), Ignition: Word(c.Ignition.Key()), Sentence: words.Causes(r), Basis: r.Basis, Bits: rounded(r.Bits),
		Ranked: []Ranked{}, Others: []Test{}, Facts: []Fact{}, Done: []TestDone{}, Notes: append(words.CauseNotes(r), c.Also...),
		Figures: "judgement",
	}
	if c.Job != 0 {
		o.Job = &c.Job
	}
	for i := range r.Ranked {
		o.Ranked = append(o.Ranked, rankedObject(&r.Ranked[i]))
	}
	if r.Next != nil {
		next := testObject(r.Next)
		o.Next = &next
	}
	for i := range r.Others {
		o.Others = append(o.Others, testObject(&r.Others[i]))
	}
	for _, f := range r.Facts {
		o.Facts = append(o.Facts, Fact{words.Telling(&f.Found), f.Feature, shares(f.Weights), Word(f.Said)})
	}
	for _, f := range r.Done {
		o.Done = append(o.Done, TestDone{f.Test, words.Telling(&f.Found)})
	}
	return o
}

func rankedObject(r *cause.Ranked) Ranked {
	o := Ranked{Cause: r.Key, Name: r.Name, Cylinders: list(r.Cylinders), Share: rounded(r.Share), For: reasonObjects(r.For),
		Against: reasonObjects(r.Against), Overturn: say.English().Filled(r.Overturn)}
	if r.Bank > 0 {
		o.Bank = &r.Bank
	}
	return o
}

func reasonObjects(reasons []cause.Reason) []Reason {
	all := make([]Reason, len(reasons))
	for i, r := range reasons {
		all[i] = Reason{say.English().Telling(&r.Fact), r.Why, r.Source, rounded(r.Times), Word(r.Expected), r.ByTest}
	}
	return all
}

func testObject(t *cause.Test) Test {
	words := say.English()
	o := Test{Test: t.Key, Name: words.Filled(t.Name), Part: t.Part, Minutes: rounded(t.Minutes), Materials: rounded(t.Materials), Bits: rounded(t.Bits),
		How: words.Filled(t.How), Decides: words.Filled(t.Decides), Outcomes: []TestOutcome{}, Cautions: list(t.Cautions)}
	for _, out := range t.Outcomes {
		o.Outcomes = append(o.Outcomes, TestOutcome{out.Key, rounded(out.Share), out.Leads, rounded(out.Then)})
	}
	return o
}

func shares(weights []float64) []Number {
	all := make([]Number, len(weights))
	for i, w := range weights {
		all[i] = rounded(w)
	}
	return all
}

// CausesBrief is causes in short, within another object.
type CausesBrief struct {
	Sentence string      `json:"sentence"`
	Basis    cause.Basis `json:"basis"`
	Ranked   []BriefRank `json:"ranked"` // the three likeliest at most
	Next     *BriefTest  `json:"next_test"`
}

// BriefRank is one cause in short.
type BriefRank struct {
	Cause     string `json:"cause"`
	Name      string `json:"name"`
	Cylinders []int  `json:"cylinders"`
	Share     Number `json:"share"`
}

// BriefTest is a test in short.
type BriefTest struct {
	Test    string `json:"test"`
	Name    string `json:"name"`
	Minutes Number `json:"minutes"`
}

// briefTold is how many causes are told in short.
const briefTold = 3

// NewCausesBrief is causes in short; nil when there is nothing to explain.
func NewCausesBrief(r *cause.Result) *CausesBrief {
	if r == nil || len(r.Ranked) == 0 {
		return nil
	}
	o := &CausesBrief{Sentence: say.English().Causes(r), Basis: r.Basis}
	for i := range r.Ranked[:min(briefTold, len(r.Ranked))] {
		c := &r.Ranked[i]
		o.Ranked = append(o.Ranked, BriefRank{c.Key, c.Name, list(c.Cylinders), rounded(c.Share)})
	}
	if r.Next != nil {
		o.Next = &BriefTest{r.Next.Key, say.English().Filled(r.Next.Name), rounded(r.Next.Minutes)}
	}
	return o
}
