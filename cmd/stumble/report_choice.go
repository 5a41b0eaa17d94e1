package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/views/report"
	"stumble/views/say"
)

// verdictComparison is the kind under which the journal keeps what was last compared of a job.
const verdictComparison = "comparison"

// choice is what a comparison was asked for, and what it came to: a report compares the same again.
type choice struct {
	ByRule   bool    `json:"by_rule"`          // the drives were chosen by the rule, which may choose others by now
	Before   []int64 `json:"before,omitempty"` // drives; empty when chosen by the rule
	After    []int64 `json:"after,omitempty"`
	Swapped  string  `json:"swapped,omitempty"`
	Strict   bool    `json:"strict"`
	Ceiling  float64 `json:"ceiling"`
	Outcome  string  `json:"outcome"` // of a swap followed, stayed, both, neither or cannot_tell
	Sentence string  `json:"sentence"`
}

// remember keeps what was compared in the journal, unless that is what was kept last. A journal that cannot be written
// is no reason to hold the comparison back.
func (c *comparing) remember(shown *report.Comparison) error {
	first, err := c.journal.Drive(c.before[0])
	if err != nil {
		return err
	}
	now := choice{
		ByRule: c.opts.job != 0, Swapped: c.opts.swapped, Strict: c.opts.strict, Ceiling: c.opts.ceiling,
		Outcome: outcomeWord(shown.Result.Outcome), Sentence: say.English().Comparison(shown.Result),
	}
	if shown.Swap != nil {
		now.Outcome, now.Sentence = outcomeWord(shown.Swap.Verdict), say.English().Swap(shown.Swap)
	}
	if !now.ByRule {
		now.Before, now.After = c.before, c.after
	}
	verdicts, err := c.journal.Verdicts(first.Job)
	if last, found := lastChoice(verdicts); err == nil && found && last.same(now) {
		return nil
	}
	data, err := json.Marshal(now)
	if err != nil {
		return err
	}
	if _, err := c.journal.AddVerdict(journal.Verdict{Job: first.Job, At: c.clock.Now(), Kind: verdictComparison, Data: data}); err != nil {
		fmt.Fprintf(c.err, "a report will not know what was compared: %s\n", explain(err))
	}
	return nil
}

func (c choice) same(o choice) bool {
	return c.ByRule == o.ByRule && slices.Equal(c.Before, o.Before) && slices.Equal(c.After, o.After) &&
		c.Swapped == o.Swapped && c.Strict == o.Strict && c.Ceiling == o.Ceiling && c.Outcome == o.Outcome && c.Sentence == o.Sentence
}

// choiceOf is the comparison that a verdict is of, if it is one; false, too, of what another version kept and cannot be read.
func choiceOf(v *journal.Verdict) (c choice, is bool) {
	is = v.Kind == verdictComparison && json.Unmarshal(v.Data, &c) == nil
	return c, is
}

// lastChoice is what was last compared of a job, by its verdicts.
func lastChoice(verdicts []journal.Verdict) (last choice, found bool) {
	for _, v := range slices.Backward(verdicts) {
		if c, is := choiceOf(&v); is && c.Ceiling > 0 && c.Ceiling < 1000 {
			return c, true
		}
	}
	return last, false
}

// recall sets a comparison up as one was asked for, as far as its drives are still there.
func (c *comparing) recall(last choice, drives []journal.Drive) error {
	c.opts.strict, c.opts.ceiling = last.Strict, last.Ceiling
	if last.Swapped != "" {
		if s, err := proof.ParseSwap(last.Swapped); err == nil {
			c.swap, c.opts.swapped = &s, strings.TrimSpace(last.Swapped)
		}
	}
	there := func(id int64) bool {
		return slices.ContainsFunc(drives, func(d journal.Drive) bool { return d.ID == id && d.Samples > 0 })
	}
	all := func(ids []int64) bool {
		return len(ids) > 0 && !slices.ContainsFunc(ids, func(id int64) bool { return !there(id) })
	}
	if !last.ByRule && all(last.Before) && all(last.After) {
		c.before, c.after = last.Before, last.After
		c.chosen = "those that were last compared"
		return nil
	}
	return c.choose()
}
