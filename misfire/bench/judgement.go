package bench

import (
	"math"
	"slices"
)

// Mark is what a reading is worth, from the worst.
type Mark uint8

// Marks.
const (
	CannotSay Mark = iota // no rule can judge it by itself
	Good
	Suspect // look closer, measure again, or compare
	Bad     // outside what a sound part shows
)

// String is the code of the mark: "cannot_say", "good", "suspect", "bad".
func (m Mark) String() string {
	names := [...]string{"cannot_say", "good", "suspect", "bad"}
	if int(m) < len(names) {
		return names[m]
	}
	return "?"
}

// Figure is a number that a finding tells, or a band of two.
type Figure struct {
	Low, High float64 // the number is Low; of a band both ends, infinite where there is none; +Inf alone is an open circuit
	Unit      string  // as Reading.Unit, "%", "kohm/ft", or empty for a bare number
	Band      bool
	Share     bool // a percentage, told to a tenth
	Apart     bool // how far two numbers are apart: of temperatures there is no zero in it
}

// number is one number with its unit.
func number(v float64, unit string) Figure { return Figure{Low: v, Unit: unit} }

// apart is how far two numbers are apart.
func apart(v float64, unit string) Figure { return Figure{Low: v, Unit: unit, Apart: true} }

// share is a percentage.
func share(v float64) Figure { return Figure{Low: v, Unit: "%", Share: true} }

// Finding is what one rule says of a reading.
type Finding struct {
	Mark   Mark
	Says   Saying
	About  []Figure // what it says it of
	Hint   Saying   // what else is to be said; Nothing for no more
	Rule   string   // its name in rules.csv or limits.csv; MakerRule where the maker's figure decided
	Source string   // who says so: for contributors, and for programs
}

// with adds a hint.
func (f Finding) with(hint Saying) Finding {
	f.Hint = hint
	return f
}

// Judgement is a reading with what the rules say of it, itself and among its siblings.
type Judgement struct {
	Reading Reading
	Mark    Mark      // of the finding that decides, All[0]; CannotSay where no rule speaks
	All     []Finding // of every rule that it meets, the deciding one first
	Redone  bool      // the same was measured again later: this one is history and compares with nothing
}

// Decides returns the finding that decides.
func (j *Judgement) Decides() *Finding {
	if len(j.All) == 0 {
		return &Finding{Says: NoRule}
	}
	return &j.All[0]
}

// judged puts the finding that decides first: the worst, and doubt before praise.
func judged(r *Reading, found []Finding) Judgement {
	if len(found) == 0 {
		found = []Finding{{Says: NoRule}}
	}
	weight := func(f Finding) int { return [...]int{CannotSay: 1, Good: 0, Suspect: 2, Bad: 3}[f.Mark] }
	slices.SortStableFunc(found, func(a, b Finding) int { return weight(b) - weight(a) })
	return Judgement{Reading: *r, Mark: found[0].Mark, All: found}
}

// is is the reading's own number.
func (r *Reading) is() Figure { return number(r.Value, r.Unit) }

// opens reports whether a number is an open circuit.
func opens(v float64) bool { return math.IsInf(v, 1) }
