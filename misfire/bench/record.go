package bench

import (
	"encoding/json"
	"math"
)

// Record is a judgement as the journal keeps it: what was judged then, and what its columns cannot hold.
type Record struct {
	Mark     Mark            `json:"mark"` // "good", "suspect", "bad", "cannot_say"
	Why      string          `json:"why"`
	Rule     string          `json:"rule"`
	Source   string          `json:"source"`
	Findings []FindingRecord `json:"findings"` // of every rule, the deciding one first
	Margin   float64         `json:"margin,omitempty"`
	Length   float64         `json:"length_m,omitempty"`
	Variant  Variant         `json:"variant,omitempty"`
	Maker    *MakerRecord    `json:"maker,omitempty"`
}

// FindingRecord is what one rule said.
type FindingRecord struct {
	Mark   Mark   `json:"mark"`
	Why    string `json:"why"`
	Rule   string `json:"rule"`
	Source string `json:"source"`
}

// MakerRecord is the maker's figure, in the reading's unit.
type MakerRecord struct {
	Low      *float64 `json:"low"` // null: no limit on that side
	High     *float64 `json:"high"`
	PerMetre bool     `json:"per_metre"` // of a wire, for each metre
}

// Record is the judgement to be kept.
func (j *Judgement) Record() Record {
	r := &j.Reading
	rec := Record{Mark: j.Mark, Why: j.Why, Rule: j.Rule, Source: j.Source, Margin: r.Margin, Length: r.Length, Variant: r.Variant,
		Maker: NewMakerRecord(r.Maker), Findings: make([]FindingRecord, len(j.All))}
	for i, f := range j.All {
		rec.Findings[i] = FindingRecord(f)
	}
	return rec
}

// NewMakerRecord is a maker's figure to be kept; nil for none.
func NewMakerRecord(r Range) *MakerRecord {
	if !r.Told() {
		return nil
	}
	return &MakerRecord{Low: finite(r.Low), High: finite(r.High), PerMetre: r.PerLength}
}

func finite(v float64) *float64 {
	if math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Columns are the value and the text of a reading as a journal can hold them: no number for an open circuit, and the
// word for it.
func (r *Reading) Columns() (value float64, text string) {
	if r.Open() {
		return math.NaN(), openWord
	}
	return r.Value, r.Text
}

const openWord = "OL"

// Restore gives a reading back what Columns and its Record kept. A record that is none, as of another program, restores
// nothing; then only the columns speak.
func (r *Reading) Restore(record []byte) {
	if k, known := KindOf(r.Part, r.Quantity); known && k.open && math.IsNaN(r.Value) && r.Text == openWord {
		r.Value, r.Text = math.Inf(1), ""
	}
	var rec Record
	if json.Unmarshal(record, &rec) != nil {
		return
	}
	if r.Variant = rec.Variant; rec.Margin > 0 {
		r.Margin = rec.Margin
	}
	if rec.Length > 0 {
		r.Length = rec.Length
	}
	if m := rec.Maker; m != nil {
		r.Maker = Range{Low: math.Inf(-1), High: math.Inf(1), PerLength: m.PerMetre}
		if m.Low != nil {
			r.Maker.Low = *m.Low
		}
		if m.High != nil {
			r.Maker.High = *m.High
		}
	}
}

// MarshalText is the mark as one word: "good", "suspect", "bad", "cannot_say".
func (m Mark) MarshalText() ([]byte, error) {
	if m == CannotSay {
		return []byte("cannot_say"), nil
	}
	return []byte(m.String()), nil
}

// UnmarshalText reads it back; an unknown word is CannotSay.
func (m *Mark) UnmarshalText(text []byte) error {
	*m = CannotSay
	for _, k := range [...]Mark{Good, Suspect, Bad} {
		if string(text) == k.String() {
			*m = k
		}
	}
	return nil
}
