package job

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"stumble/misfire/journal"
	"stumble/misfire/proof"
)

// Rule is how the drives of a comparison were chosen.
type Rule uint8

// The rules.
const (
	ByNumber     Rule = iota // the user named them
	SinceDeed                // the last before what was done last, and all since
	FirstAndLast             // the first and the last: nobody told of anything that was done between them
	AsBefore                 // those that were last compared
)

// Choice is which drives are compared.
type Choice struct {
	Rule          Rule
	Before, After []int64 // numbers of drives, one or more each
	Deed          Deed    // of SinceDeed; of others what lies between the drives, as far as anything does
}

// Untold reports whether drives are held against each other that nobody told of anything between: they are one evidence.
func (c *Choice) Untold() bool { return c.Rule == FirstAndLast }

// ChoiceError says why no drives can be chosen to be compared.
type ChoiceError struct {
	Job    int64
	Drives int  // that the job holds; with fewer than two there is nothing to compare
	Deed   Deed // else
	Before bool // what is missing is a drive before it; else one since
}

func (e *ChoiceError) Error() string {
	when := "since"
	if e.Before {
		when = "before"
	}
	if e.Drives < 2 {
		return fmt.Sprintf("too few drives to compare: job %d holds %d of two", e.Job, e.Drives)
	}
	return fmt.Sprintf("job %d holds no drive %s what was done at %s", e.Job, when, e.Deed.At.Format(time.RFC3339))
}

// Choose finds the drives to compare: the last before what was done last and all since, or the first and the last. The
// error is a ChoiceError, or the journal's.
func (c *Case) Choose() (Choice, error) {
	if len(c.Drives) < 2 {
		return Choice{}, &ChoiceError{Job: c.Job.ID, Drives: len(c.Drives)}
	}
	last, err := c.lastDeed()
	if err != nil {
		return Choice{}, err
	}
	ids := make([]int64, len(c.Drives))
	for i := range c.Drives {
		ids[i] = c.Drives[i].ID
	}
	n := last.place
	switch {
	case last.Kind == NoDeed:
		return Choice{Rule: FirstAndLast, Before: ids[:1], After: ids[len(ids)-1:]}, nil
	case n == 0 || n == len(ids):
		return Choice{}, &ChoiceError{Job: c.Job.ID, Drives: len(ids), Deed: last, Before: n == 0}
	}
	return Choice{Rule: SinceDeed, Deed: last, Before: ids[n-1 : n], After: ids[n:]}, nil
}

// between returns what was done last between the drives of two sides, which the user chose; its Kind is NoDeed where
// nobody told of anything.
func (c *Case) between(before, after []int64) (last Deed, err error) {
	deeds, err := c.Deeds()
	if err != nil {
		return last, err
	}
	from, to := -1, len(c.Drives)
	for _, id := range before {
		from = max(from, c.index(id))
	}
	for _, id := range after {
		if i := c.index(id); i >= 0 {
			to = min(to, i)
		}
	}
	for _, d := range deeds {
		if d.place > from && d.place <= to && d.weight() >= last.weight() {
			last = d
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
	Before   []int64 `json:"before,omitempty"` // drives; empty when chosen by the rule and no parts were exchanged
	After    []int64 `json:"after,omitempty"`
	Swapped  string  `json:"swapped,omitempty"`
	Strict   bool    `json:"strict"`
	Ceiling  float64 `json:"ceiling"`
	Outcome  string  `json:"outcome"`  // as Comparison.Outcome
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

// Recall returns what was last compared of the job, as far as its drives are still there and nothing was done since that
// newer drives tell of; else it is as Choose finds it. The question is of no use where the error is not nil.
func (c *Case) Recall() (chosen Choice, q Question, err error) {
	last, found := lastKept(c.Verdicts)
	if !found {
		return c.chosen(q)
	}
	q.Strict, q.Ceiling = last.Strict, last.Ceiling
	done, err := c.lastDeed()
	if err != nil {
		return chosen, q, err
	}
	overtaken := done.Kind != NoDeed && done.By != ByComparison && done.written.After(last.At)
	if s, err := proof.ParseSwap(last.Swapped); last.Swapped != "" && err == nil && !overtaken {
		q.Swap = &s
	}
	there := func(ids []int64) bool {
		return len(ids) > 0 && !slices.ContainsFunc(ids, func(id int64) bool { return c.index(id) < 0 })
	}
	if !last.ByRule && !overtaken && there(last.Before) && there(last.After) {
		chosen = Choice{Rule: AsBefore, Before: last.Before, After: last.After}
		chosen.Deed, err = c.between(last.Before, last.After)
		return chosen, q, err
	}
	return c.chosen(q)
}

// chosen is what Choose finds, with what is asked of it: of a swap, how it came out.
func (c *Case) chosen(q Question) (Choice, Question, error) {
	chosen, err := c.Choose()
	if swap, is := chosen.Deed.swap(); is && q.Swap == nil {
		q.Swap = &swap
	}
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

// Untold is the outcome of drives between which nobody told of anything that was done.
const Untold = "nothing_told"

// Outcome returns what a comparison comes to, as scripts read it: of a swap followed, stayed, both, neither or
// cannot_tell; Untold; else proven, improved, not_yet, still_missing or moved.
func (c *Comparison) Outcome() string {
	switch {
	case c.Swap != nil:
		return word(c.Swap.Verdict)
	case c.Untold():
		return Untold
	}
	return word(c.Result.Outcome)
}

// Untold reports whether nobody told of anything that was done between the drives: then nothing is judged.
func (c *Comparison) Untold() bool { return c.Choice.Untold() && c.Swap == nil }

// Remember keeps what a comparison was asked for and came to in the job of its first drive, unless that is what was
// kept last. sentence is what it is told in. The error is the journal's: no reason to hold the comparison back.
func (c *Comparison) Remember(j *journal.Journal, at time.Time, sentence string) error {
	now := Kept{
		ByRule: c.Choice.Rule == SinceDeed || c.Choice.Rule == FirstAndLast,
		Strict: c.Question.Strict, Ceiling: c.Question.ceiling(), Outcome: c.Outcome(), Sentence: sentence,
	}
	if c.Swap != nil {
		now.Swapped = c.Question.Swap.String()
	}
	if !now.ByRule || c.Swap != nil { // a swap lies between its drives, whatever the rule finds later
		now.Before, now.After = c.Choice.Before, c.Choice.After
	}
	number := c.Before[0].Stored.Job
	verdicts, err := j.Verdicts(number)
	if last, found := lastKept(verdicts); err == nil && found && last.same(&now) {
		return nil
	}
	return tell(j, number, verdictComparison, at, now)
}
