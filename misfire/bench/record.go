package bench

import (
	"encoding/json"
	"math"
)

// Record is a judgement as the journal keeps it: what was judged then, as codes and numbers, and what its columns cannot
// hold. What older programs kept has words in the place of codes: of those only Mark is read back.
type Record struct {
	Mark     Mark            `json:"mark"`     // "good", "suspect", "bad", "cannot_say"
	Findings []FindingRecord `json:"findings"` // of every rule, the deciding one first
	Margin   float64         `json:"margin,omitempty"`
	Length   float64         `json:"length_m,omitempty"`
	Variant  Variant         `json:"variant,omitempty"`
	Maker    *MakerRecord    `json:"maker,omitempty"`
	State    State           `json:"state,omitempty"`
	Moves    bool            `json:"moves,omitempty"` // the reading moved,
	To       *Limit          `json:"to,omitempty"`    // to this other end; null for an open circuit
	Celsius  *float64        `json:"celsius,omitempty"`
	Typed    *TypedRecord    `json:"typed,omitempty"`
}

// FindingRecord is what one rule said.
type FindingRecord struct {
	Mark   Mark           `json:"mark"`
	Says   string         `json:"says"` // its code
	Hint   string         `json:"hint,omitempty"`
	About  []FigureRecord `json:"about,omitempty"`
	Rule   string         `json:"rule"`
	Source string         `json:"source"`
}

// FigureRecord is a number, or the ends of a band.
type FigureRecord struct {
	Value Limit  `json:"value"`
	To    *Limit `json:"to,omitempty"` // of a band
	Unit  string `json:"unit,omitempty"`
}

// TypedRecord is the units that a reading was typed in.
type TypedRecord struct {
	Unit    string `json:"unit,omitempty"`
	Length  string `json:"length,omitempty"`
	Celsius string `json:"celsius,omitempty"`
}

// Limit is a number of JSON that may be infinite: null. Of a single number that is an open circuit, of the end of a band
// no limit.
type Limit float64

// MarshalJSON writes null for what is infinite.
func (l Limit) MarshalJSON() ([]byte, error) {
	if math.IsInf(float64(l), 0) || math.IsNaN(float64(l)) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(l))
}

// UnmarshalJSON reads it back; null is an open circuit.
func (l *Limit) UnmarshalJSON(data []byte) error {
	if string(data) == "null" {
		*l = Limit(math.Inf(1))
		return nil
	}
	return json.Unmarshal(data, (*float64)(l))
}

// MakerRecord is the maker's figure, in the reading's unit.
type MakerRecord struct {
	Low      *float64 `json:"low"` // null: no limit on that side
	High     *float64 `json:"high"`
	PerMetre bool     `json:"per_metre"`       // of a wire, for each metre
	Typed    string   `json:"typed,omitempty"` // the length it was typed for: ft, m
}

// Record is the judgement to be kept.
func (j *Judgement) Record() Record {
	r := &j.Reading
	rec := Record{Mark: j.Mark, Margin: r.Margin, Length: r.Length, Variant: r.Variant, State: r.State,
		Maker: NewMakerRecord(r.Maker), Findings: make([]FindingRecord, len(j.All))}
	for i := range j.All {
		rec.Findings[i] = newFindingRecord(&j.All[i])
	}
	if r.Moves {
		to := Limit(r.To)
		rec.Moves, rec.To = true, &to
	}
	if r.Heated {
		rec.Celsius = &r.Celsius
	}
	if typed := (TypedRecord{r.Typed, r.TypedLength, r.TypedCelsius}); typed != (TypedRecord{}) {
		rec.Typed = &typed
	}
	return rec
}

func newFindingRecord(f *Finding) FindingRecord {
	rec := FindingRecord{Mark: f.Mark, Says: f.Says.String(), Hint: f.Hint.String(), Rule: f.Rule, Source: f.Source}
	for _, a := range f.About {
		figure := FigureRecord{Value: Limit(a.Low), Unit: a.Unit}
		if a.Band {
			high := Limit(a.High)
			figure.To = &high
		}
		rec.About = append(rec.About, figure)
	}
	return rec
}

// NewMakerRecord is a maker's figure to be kept; nil for none.
func NewMakerRecord(r Range) *MakerRecord {
	if !r.Told() {
		return nil
	}
	return &MakerRecord{Low: finite(r.Low), High: finite(r.High), PerMetre: r.PerLength, Typed: r.Typed}
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
	r.State = rec.State
	if r.Moves = rec.Moves; r.Moves {
		r.To = math.Inf(1)
		if rec.To != nil {
			r.To = float64(*rec.To)
		}
	}
	if rec.Celsius != nil {
		r.Heated, r.Celsius = true, *rec.Celsius
	}
	if t := rec.Typed; t != nil {
		r.Typed, r.TypedLength, r.TypedCelsius = t.Unit, t.Length, t.Celsius
	}
	if m := rec.Maker; m != nil {
		r.Maker = Range{Low: math.Inf(-1), High: math.Inf(1), PerLength: m.PerMetre, Typed: m.Typed}
		if m.Low != nil {
			r.Maker.Low = *m.Low
		}
		if m.High != nil {
			r.Maker.High = *m.High
		}
	}
}

// MarshalText is the mark as String does it.
func (m Mark) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

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
