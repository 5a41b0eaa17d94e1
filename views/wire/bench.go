package wire

import (
	"stumble/misfire/bench"
	"stumble/views"
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
	Reading  *int64                `json:"reading"` // its number; null: not saved
	Time     Stamp                 `json:"time"`
	Part     bench.Part            `json:"part"`
	Quantity bench.Quantity        `json:"quantity"`
	Cylinder int                   `json:"cylinder"` // 0: the whole engine
	Value    Number                `json:"value"`    // null: open, or told in words
	Unit     Word                  `json:"unit"`
	Open     bool                  `json:"open"` // the meter showed an open circuit
	Margin   Number                `json:"margin"`
	Length   Number                `json:"length_m"` // of a wire
	Variant  Word                  `json:"variant"`
	Maker    *bench.MakerRecord    `json:"maker"` // the maker's figure; null: not told
	Text     Word                  `json:"text"`
	Mark     bench.Mark            `json:"mark"` // "good", "suspect", "bad", "cannot_say"
	Why      string                `json:"why"`
	Rule     Word                  `json:"rule"`
	Source   Word                  `json:"source"`
	Findings []bench.FindingRecord `json:"findings"`
	Redone   bool                  `json:"redone"`    // the same was measured again later
	Then     *bench.Mark           `json:"mark_then"` // when it was taken; null: not known
}

// NewBench is readings as an object.
func NewBench(b *views.Bench) Bench {
	o := Bench{Kind: "bench", Job: numbered(b.Job), Vehicle: Word(b.Vehicle), Sentence: views.BenchSentence(b), Readings: []BenchReading{}}
	for i := range b.Readings {
		o.Readings = append(o.Readings, newBenchReading(&b.Readings[i]))
	}
	return o
}

func newBenchReading(b *views.BenchReading) BenchReading {
	j := &b.Judgement
	r := &j.Reading
	o := BenchReading{
		Reading: numbered(b.ID), Time: Stamp(b.At), Part: r.Part, Quantity: r.Quantity, Cylinder: r.Cylinder, Value: rounded(r.Value), Unit: Word(r.Unit),
		Open: r.Open(), Margin: orUnknown(r.Margin), Length: orUnknown(r.Length), Variant: Word(r.Variant), Maker: bench.NewMakerRecord(r.Maker),
		Text: Word(r.Text), Mark: j.Mark, Why: j.Why, Rule: Word(j.Rule), Source: Word(j.Source), Findings: j.Record().Findings, Redone: j.Redone, Then: b.Then,
	}
	return o
}
