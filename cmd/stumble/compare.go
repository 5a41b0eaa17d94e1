package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/views/report"
	"stumble/views/wire"
)

const compareAbout = `Judge a repair by a drive before it and one after it, like with like: the same gear state, engine speed and load, equally
warm. Few misses in little running prove nothing: it says how many minutes, in which gear, are still missing.

  stumble compare BEFORE AFTER   drives by their numbers; several as 5,6
  stumble compare --job JOB      the last before what was last done, and since

What was done is what 'stumble repaired' and 'stumble swapped' were told, or where the codes were last cleared while nobody
told of a repair. Where nobody told of anything the drives are one evidence, nothing is judged, and it asks.

Of parts that were exchanged ('stumble swapped', or --swapped coil:5-3) it tells whether the fault followed the part. The
outcome is proven, improved, not_yet, still_missing, moved or nothing_told; that of a swap followed, stayed, both, neither
or cannot_tell.`

// compareOptions is what compare was asked for.
type compareOptions struct {
	journal journalOption
	engine  engineOptions
	job     int64
	strict  bool
	ceiling float64
	swapped string
	failOn  string
	asJSON  bool
	anew    anewOption
}

func (o *compareOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	o.engine.flags(f)
	f.Int64Var(&o.job, "job", 0, "choose the drives of the job of this `NUMBER`")
	f.BoolVar(&o.strict, "strict", false, "take load as alike within 10 points instead of 20")
	f.Float64Var(&o.ceiling, "ceiling", rate.Ceiling, "up to how many misses per 1,000 firings a cylinder is healthy, a `RATE`")
	f.StringVar(&o.swapped, "swapped", "", "the `PARTS` that were exchanged, as coil:5-3; "+strings.Join(proof.Parts(), ", "))
	f.StringVar(&o.failOn, "fail-on", "", "exit with status 3 at one of these `OUTCOMES`, as still_missing,moved; not_proven is any but proven")
	o.anew.flags(f)
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
}

// compareCommand is the command that judges a repair.
func compareCommand(a *app) *cobra.Command {
	var o compareOptions
	c := &cobra.Command{
		Use:     "compare [BEFORE AFTER]",
		Short:   "judge a repair or a swap by the drives before and after it",
		Long:    compareAbout,
		Example: "stumble compare 3 5 --fail-on not_proven",
		Args:    atMost(2),
		RunE:    func(_ *cobra.Command, args []string) error { return compare(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// compare judges a repair.
func compare(a *app, o *compareOptions, rest []string) error {
	switch {
	case o.engine.wantsList():
		return o.engine.list(a.out)
	case !(o.ceiling > 0 && o.ceiling < 1000):
		return usagef("a --ceiling of %v per 1,000 firings cannot be: give one above 0 and under 1000", o.ceiling)
	}
	c := &comparing{app: a, opts: o}
	if err := c.understand(rest); err != nil {
		return err
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		c.journal = j
		return c.run()
	})
}

// comparing is one comparison.
type comparing struct {
	*app
	opts    *compareOptions
	swap    *proof.Swap
	failOn  []string
	journal *journal.Journal
	chosen  job.Choice
}

// understand reads the arguments.
func (c *comparing) understand(words []string) (err error) {
	o := c.opts
	if o.swapped != "" {
		s, err := proof.ParseSwap(o.swapped)
		if err != nil {
			return usageError{err}
		}
		c.swap = &s
	}
	if c.failOn, err = failures(o.failOn, c.swap != nil); err != nil {
		return err
	}
	switch {
	case o.job != 0 && len(words) > 0:
		return usagef("--job chooses the drives by itself: leave it or the numbers of drives out")
	case o.job < 0:
		return usagef("\"%d\" is no number of a job; 'stumble jobs' lists them", o.job)
	case o.job != 0:
		return nil
	case len(words) < 2:
		return usagef("say which drives by their numbers, BEFORE AFTER, or --job; 'stumble jobs show JOB' lists the drives of a job")
	}
	if c.chosen.Before, err = driveNumbers(words[0]); err != nil {
		return err
	}
	if c.chosen.After, err = driveNumbers(words[1]); err != nil {
		return err
	}
	seen := make(map[int64]bool)
	for _, id := range slices.Concat(c.chosen.Before, c.chosen.After) {
		if seen[id] {
			return usagef("drive %d is named twice: a drive cannot be compared with itself", id)
		}
		seen[id] = true
	}
	return nil
}

func driveNumbers(text string) (ids []int64, err error) {
	for word := range strings.SplitSeq(text, ",") {
		id, err := numberOf("drive", word)
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// anyButProven is every outcome that is no proof.
const anyButProven = "not_proven"

// failures reads --fail-on.
func failures(text string, swapped bool) ([]string, error) {
	if text == "" {
		return nil, nil
	}
	known := []string{anyButProven, job.Untold}
	for _, o := range [...]proof.Outcome{proof.Proven, proof.Improved, proof.NotYet, proof.StillMissing, proof.Moved} {
		known = append(known, outcomeWord(o))
	}
	if swapped {
		for _, v := range [...]proof.SwapVerdict{proof.FollowedPart, proof.StayedPut, proof.BothMiss, proof.NeitherMisses, proof.CannotTell} {
			known = append(known, outcomeWord(v))
		}
	}
	words := strings.Split(text, ",")
	for _, word := range words {
		if !slices.Contains(known, word) {
			return nil, usagef("--fail-on knows no %q: give one or more of %s", word, strings.Join(known, ","))
		}
	}
	return words, nil
}

// outcomeWord is an outcome as scripts read it.
func outcomeWord(outcome interface{ MarshalText() ([]byte, error) }) string {
	text, err := outcome.MarshalText()
	if err != nil {
		return err.Error()
	}
	return string(text)
}

func (c *comparing) run() error {
	found, err := c.compared()
	if err != nil {
		return err
	}
	shown := comparisonShown(found)
	c.remember(c.journal, found, wire.ComparisonSentence(shown))
	if c.opts.asJSON {
		err = wire.WriteLine(c.out, wire.NewComparison(shown))
	} else {
		err = report.WriteComparison(c.out, shown, textWidth)
	}
	if err != nil {
		return err
	}
	return c.verdict(shown)
}

// remember has the job know what was compared, for its reports and its page.
func (a *app) remember(j *journal.Journal, c *job.Comparison, sentence string) {
	if err := c.Remember(j, a.clock.Now(), sentence); err != nil {
		fmt.Fprintf(a.err, "a report will not know what was compared: %s\n", explain(err))
	}
}

// compared compares the drives that were named, or those that the job's own rule finds.
func (c *comparing) compared() (*job.Comparison, error) {
	counting := c.opts.engine.counting(c.opts.anew)
	q := job.Question{Strict: c.opts.strict, Ceiling: c.opts.ceiling, Swap: c.swap}
	if c.opts.job == 0 {
		return job.Compare(c.ctx, c.journal, c.chosen, q, counting)
	}
	file, err := job.Open(c.journal, c.opts.job, counting)
	if err != nil {
		return nil, err
	}
	return file.Compare(c.ctx, q)
}

// comparisonShown is a comparison as the views have it.
func comparisonShown(c *job.Comparison) *report.Comparison {
	first := &c.Before[0].Stored
	shown := &report.Comparison{
		Job: first.Job, Vehicle: onOneLine(job.VehicleName(first.Vehicle)), Between: betweenDrives(c), Before: comparedDrives(c.Before), After: comparedDrives(c.After), Chosen: ruleWords(&c.Choice), Result: c.Result, Swap: c.Swap,
		Readiness: c.Readiness, Rules: c.Progress.Rules(), Causes: c.Causes,
	}
	for _, d := range slices.Concat(c.Before, c.After) {
		if d.Stored.Job != first.Job {
			shown.Job = 0
		}
	}
	if in := c.Codes.Before; in != nil {
		shown.Codes.Before = in.At.Local()
	}
	if in := c.Codes.After; in != nil {
		shown.Codes.After = in.At.Local()
	}
	return shown
}

func comparedDrives(all []*job.Counted) (shown []report.Compared) {
	for _, d := range all {
		shown = append(shown, report.Compared{Drive: d.Stored.ID, Summary: d.Summary, Heard: d.Heard})
	}
	return shown
}

// verdict is an error when the outcome is one that --fail-on names.
func (c *comparing) verdict(shown *report.Comparison) error {
	outcomes := []string{wire.NewComparison(shown).Outcome}
	if outcomes[0] != outcomeWord(proof.Proven) {
		outcomes = append(outcomes, anyButProven)
	}
	if shown.Swap != nil {
		outcomes = append(outcomes, outcomeWord(shown.Swap.Verdict))
	}
	for _, outcome := range outcomes {
		if slices.Contains(c.failOn, outcome) {
			return foundError{fmt.Errorf("the outcome is %s, which --fail-on names", outcome)}
		}
	}
	return nil
}
