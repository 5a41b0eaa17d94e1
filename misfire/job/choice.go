package job

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"stumble/misfire/journal"
	"stumble/misfire/proof"
)

// Rule is how the drives of a comparison were chosen.
type Rule uint8

// The rules.
const (
	ByNumber     Rule = iota // the user named them
	SinceRepair              // the last before the repair, and all since
	FirstAndLast             // the first and the last: the job knows of no repair
	AsBefore                 // those that were last compared
)

// Choice is which drives are compared.
type Choice struct {
	Rule          Rule
	Before, After []int64 // numbers of drives, one or more each
	Repair        Repair  // of SinceRepair
}

// RepairKind is what tells of a repair.
type RepairKind uint8

// What tells of a repair.
const (
	NoRepair RepairKind = iota
	ByClear             // the codes were cleared
	ByNote              // a note of the job begins with "repair"
	ByMark              // a mark of a drive does
)

// Repair is when the car was last repaired, as far as the job tells.
type Repair struct {
	Kind RepairKind
	At   time.Time
	Text string // of the note or mark
}

// ChoiceError says why no drives can be chosen to be compared.
type ChoiceError struct {
	Job    int64
	Drives int    // that the job holds; with fewer than two there is nothing to compare
	Repair Repair // else
	Before bool   // what is missing is a drive before it; else one since
}

func (e *ChoiceError) Error() string {
	when := "since"
	if e.Before {
		when = "before"
	}
	if e.Drives < 2 {
		return fmt.Sprintf("too few drives to compare: job %d holds %d of two", e.Job, e.Drives)
	}
	return fmt.Sprintf("job %d holds no drive %s the repair of %s", e.Job, when, e.Repair.At.Format(time.RFC3339))
}

// Choose finds the drives to compare: the last before the repair and all since, or the first and the last. The error is
// a ChoiceError, or the journal's.
func (c *Case) Choose() (Choice, error) {
	if len(c.Drives) < 2 {
		return Choice{}, &ChoiceError{Job: c.Job.ID, Drives: len(c.Drives)}
	}
	repair, err := c.LastRepair()
	if err != nil {
		return Choice{}, err
	}
	if repair.Kind == NoRepair {
		first, last := c.Drives[0].ID, c.Drives[len(c.Drives)-1].ID
		return Choice{Rule: FirstAndLast, Before: []int64{first}, After: []int64{last}}, nil
	}
	chosen := Choice{Rule: SinceRepair, Repair: repair}
	for _, d := range c.Drives {
		if d.Started.After(repair.At) {
			chosen.After = append(chosen.After, d.ID)
		} else {
			chosen.Before = []int64{d.ID}
		}
	}
	if len(chosen.After) == 0 || len(chosen.Before) == 0 {
		only := len(chosen.After) > 0
		return Choice{}, &ChoiceError{Job: c.Job.ID, Drives: len(c.Drives), Repair: repair, Before: only}
	}
	return chosen, nil
}

// LastRepair returns when the car was last repaired: the codes were cleared, or a later note or mark begins with
// "repair".
func (c *Case) LastRepair() (Repair, error) {
	last := Repair{At: c.LastClear()}
	if !last.At.IsZero() {
		last.Kind = ByClear
	}
	later := func(kind RepairKind, at time.Time, text string) {
		if at.After(last.At) && strings.HasPrefix(strings.ToLower(strings.TrimSpace(text)), "repair") {
			last = Repair{kind, at, text}
		}
	}
	for _, n := range c.Notes {
		later(ByNote, n.At, n.Text)
	}
	for _, d := range c.Drives {
		marks, err := c.journal.Marks(d.ID)
		if err != nil {
			return Repair{}, err
		}
		for _, m := range marks {
			later(ByMark, m.At, m.Text)
		}
	}
	return last, nil
}

// Question is what is asked of the drives that are compared.
type Question struct {
	Strict  bool        // load within 10 points instead of 20
	Ceiling float64     // rate per 1,000 firings up to which a cylinder is healthy; 0 is rate.Ceiling
	Swap    *proof.Swap // the parts that were exchanged; nil when none were
}

// verdictComparison is the kind under which the journal keeps what was last compared of a job.
const verdictComparison = "comparison"

// Kept is a comparison as the journal keeps it: what it was asked for, and what it came to. A report compares the same
// again.
type Kept struct {
	ByRule   bool    `json:"by_rule"`          // the drives were chosen by the rule, which may choose others by now
	Before   []int64 `json:"before,omitempty"` // drives; empty when chosen by the rule
	After    []int64 `json:"after,omitempty"`
	Swapped  string  `json:"swapped,omitempty"`
	Strict   bool    `json:"strict"`
	Ceiling  float64 `json:"ceiling"`
	Outcome  string  `json:"outcome"`  // of a swap followed, stayed, both, neither or cannot_tell
	Sentence string  `json:"sentence"` // that it was told in

	At time.Time `json:"-"`
}

// KeptComparison returns the comparison that a verdict is of, if it is one; false, too, of what another version kept
// and cannot be read.
func KeptComparison(v *journal.Verdict) (k Kept, is bool) {
	is = v.Kind == verdictComparison && json.Unmarshal(v.Data, &k) == nil
	k.At = v.At
	return k, is
}

// lastKept is what was last compared of a job, by its verdicts.
func lastKept(verdicts []journal.Verdict) (last Kept, found bool) {
	for _, v := range slices.Backward(verdicts) {
		if k, is := KeptComparison(&v); is && k.Ceiling > 0 && k.Ceiling < 1000 {
			return k, true
		}
	}
	return last, false
}

func (k *Kept) same(o *Kept) bool {
	return k.ByRule == o.ByRule && slices.Equal(k.Before, o.Before) && slices.Equal(k.After, o.After) &&
		k.Swapped == o.Swapped && k.Strict == o.Strict && k.Ceiling == o.Ceiling &&
		k.Outcome == o.Outcome && k.Sentence == o.Sentence
}

// Recall returns what was last compared of the job, as far as its drives are still there; without a comparison it is as
// Choose finds it. The question is of no use where the error is not nil.
func (c *Case) Recall() (chosen Choice, q Question, err error) {
	last, found := lastKept(c.Verdicts)
	if !found {
		chosen, err = c.Choose()
		return chosen, q, err
	}
	q.Strict, q.Ceiling = last.Strict, last.Ceiling
	if s, err := proof.ParseSwap(last.Swapped); last.Swapped != "" && err == nil {
		q.Swap = &s
	}
	there := func(ids []int64) bool {
		return len(ids) > 0 && !slices.ContainsFunc(ids, func(id int64) bool {
			return !slices.ContainsFunc(c.Drives, func(d journal.Drive) bool { return d.ID == id })
		})
	}
	if !last.ByRule && there(last.Before) && there(last.After) {
		return Choice{Rule: AsBefore, Before: last.Before, After: last.After}, q, nil
	}
	chosen, err = c.Choose()
	return chosen, q, err
}

// word is an outcome as scripts read it.
func word(outcome interface{ MarshalText() ([]byte, error) }) string {
	text, err := outcome.MarshalText()
	if err != nil {
		return err.Error()
	}
	return string(text)
}

// Remember keeps what a comparison was asked for and came to in the job of its first drive, unless that is what was
// kept last. sentence is what it is told in. The error is the journal's: no reason to hold the comparison back.
func (c *Comparison) Remember(j *journal.Journal, at time.Time, sentence string) error {
	now := Kept{
		ByRule: c.Choice.Rule == SinceRepair || c.Choice.Rule == FirstAndLast,
		Strict: c.Question.Strict, Ceiling: c.Question.ceiling(), Outcome: word(c.Result.Outcome), Sentence: sentence,
	}
	if c.Swap != nil {
		now.Outcome, now.Swapped = word(c.Swap.Verdict), c.Question.Swap.String()
	}
	if !now.ByRule {
		now.Before, now.After = c.Choice.Before, c.Choice.After
	}
	number := c.Before[0].Stored.Job
	verdicts, err := j.Verdicts(number)
	if last, found := lastKept(verdicts); err == nil && found && last.same(&now) {
		return nil
	}
	data, err := json.Marshal(now)
	if err != nil {
		return err
	}
	_, err = j.AddVerdict(journal.Verdict{Job: number, At: at, Kind: verdictComparison, Data: data})
	return err
}
