package wire

import (
	"stumble/misfire/bench"
	"stumble/views"
	"stumble/views/say"
)

// Bench is what was measured by hand under a job: {"kind":"bench",...}.
type Bench struct {
	Kind     string         `json:"kind"`
	Job      *int64         `json:"job"` // null: not saved under any
	Vehicle  Word           `json:"vehicle"`
	Sentence string         `json:"sentence"`
	Readings []BenchReading `json:"readings"` // in the order they were taken
}

// BenchReading is one measurement with its judgement among all others as they are now.
type BenchReading struct {
	Reading  *int64             `json:"reading"` // its number; null: not saved
	Time     Stamp              `json:"time"`
	Part     bench.Part         `json:"part"`
	Quantity bench.Quantity     `json:"quantity"`
	Cylinder int                `json:"cylinder"` // 0: the whole engine
	Value    Number             `json:"value"`    // null: open, or told in words
	Unit     Word               `json:"unit"`
	Open     bool               `json:"open"`  // the meter showed an open circuit
	Moves    bool               `json:"moves"` // it moved while the part was moved,
	To       Number             `json:"to"`    // to this; null: open
	State    Word               `json:"state"` // "cold", "hot"; null: not told
	Celsius  Number             `json:"celsius"`
	Typed    Word               `json:"typed_unit"` // that the value was typed in; null: none was
	Margin   Number             `json:"margin"`
	Length   Number             `json:"length_m"` // of a wire
	Variant  Word               `json:"variant"`
	Maker    *bench.MakerRecord `json:"maker"` // the maker's figure; null: not told
	Text     Word               `json:"text"`
	Mark     bench.Mark         `json:"mark"` // "good", "suspect", "bad", "cannot_say"
	Why      string             `json:"why"`
	Rule     Word               `json:"rule"`
	Source   Word               `json:"source"`
	Findings []BenchFinding     `json:"findings"`
	Redone   bool               `json:"redone"`    // the same was measured again later
	Then     *bench.Mark        `json:"mark_then"` // when it was taken; null: not known
}

// BenchFinding is what one rule says of a reading.
type BenchFinding struct {
	Mark   bench.Mark `json:"mark"`
	Says   string     `json:"says"` // its code
	Why    string     `json:"why"`
	Rule   string     `json:"rule"`
	Source string     `json:"source"`
}

// NewBench is readings as an object.
func NewBench(b *views.Bench) Bench {
	o := Bench{Kind: "bench", Job: numbered(b.Job), Vehicle: Word(b.Vehicle), Sentence: views.BenchSentence(b), Readings: []BenchReading{}}
	for i := range b.Readings {
		o.Readings = append(o.Readings, newBenchReading(&b.Readings[i], say.Bench{Words: say.English(), US: b.US}))
	}
	return o
}

func newBenchReading(b *views.BenchReading, words say.Bench) BenchReading {
	j := &b.Judgement
	r, first := &j.Reading, j.Decides()
	o := BenchReading{
		Reading: numbered(b.ID), Time: Stamp(b.At), Part: r.Part, Quantity: r.Quantity, Cylinder: r.Cylinder, Value: rounded(r.Value), Unit: Word(r.Unit),
		Open: r.Open(), Moves: r.Moves, To: unknown(), State: Word(r.State), Celsius: unknown(), Typed: Word(r.Typed),
		Margin: orUnknown(r.Margin), Length: orUnknown(r.Length), Variant: Word(r.Variant), Maker: bench.NewMakerRecord(r.Maker),
		Text: Word(r.Text), Mark: j.Mark, Why: words.Why(j), Rule: Word(first.Rule), Source: Word(first.Source),
		Findings: []BenchFinding{}, Redone: j.Redone, Then: b.Then,
	}
	if r.Moves {
		o.To = rounded(r.To)
	}
	if r.Heated {
		o.Celsius = rounded(r.Celsius)
	}
	for i := range j.All {
		f := &j.All[i]
		o.Findings = append(o.Findings, BenchFinding{f.Mark, f.Says.String(), words.Finding(r, f), f.Rule, f.Source})
	}
	return o
}
