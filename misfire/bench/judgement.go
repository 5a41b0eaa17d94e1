package bench

// Mark is what a reading is worth, from the worst.
type Mark uint8

// Marks.
const (
	CannotSay Mark = iota // no rule can judge it by itself
	Good
	Suspect // look closer, measure again, or compare
	Bad     // outside what a sound part shows
)

// String is the mark in words: "cannot say", "good", "suspect", "bad".
func (m Mark) String() string {
	names := [...]string{"cannot say", "good", "suspect", "bad"}
	if int(m) < len(names) {
		return names[m]
	}
	return "?"
}

// Finding is what one rule says of a reading.
type Finding struct {
	Mark   Mark
	Why    string // one or more sentences
	Rule   string // its name in rules.csv; MakerRule where the maker's figure decided
	Source string // who says so
}

// Judgement is a reading with what the rules say of it, itself and among its siblings.
type Judgement struct {
	Reading Reading
	Mark    Mark      // of the finding that decides, Findings[0]; CannotSay where no rule speaks
	Why     string    // the same finding's
	Rule    string    // the same finding's
	Source  string    // the same finding's
	All     []Finding // of every rule that it meets, the deciding one first
	Redone  bool      // the same was measured again later: this one is history and compares with nothing
}
