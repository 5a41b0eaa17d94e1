package main

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views/report"
	"stumble/views/wire"
)

const causesAbout = `Rank what may be behind a job's misfire by all that is known of it: counts by cylinder, gear, load and heat, fuel trims,
codes, freeze frame, what the driver reports ('stumble jobs symptom'), swaps and bench readings. Each cause tells what speaks for and against it and what would overturn
it; then comes the test that tells most for its time and money. Never a part before a test.

  stumble causes JOB   without JOB the one in hand

Drives since the repair, or since parts were exchanged, are left out unless it still misses after the repair. The result
is saved in the job. The shares are judgement in numbers, told in steps of 5 %; what fits no cause of the table well is
told as something else. With --learn the jobs closed by 'stumble jobs close' after a proven repair move the shares.

CAUTION: ignition voltage can kill; keep clear of hot and turning parts; exhaust gas is poison. Each test names its own
cautions. The maker's manual and local law come first.`

// causesOptions is what causes was asked for.
type causesOptions struct {
	journal  journalOption
	engine   engineOptions
	ignition string
	learn    bool
	asJSON   bool
}

func (o *causesOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	o.engine.flags(f)
	f.StringVar(&o.ignition, "ignition", "", "how the coils are laid out, a `KIND`: each (a coil on every plug), shared (one coil to two plugs) or distributor; else as last told")
	f.BoolVar(&o.learn, "learn", false, "let the jobs of this journal that were closed with a proven cause move the shares; nothing leaves this machine")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
}

// causesCommand is the command that ranks what may be behind a misfire.
func causesCommand(a *app) *cobra.Command {
	var o causesOptions
	c := &cobra.Command{
		Use:     "causes [JOB]",
		Short:   "rank what may be behind it, and name the test that tells most",
		Long:    causesAbout,
		Example: "stumble causes 3 --engine v6-along-142536 --ignition each",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return causes(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// causes ranks what may be behind a misfire.
func causes(a *app, o *causesOptions, rest []string) error {
	if o.engine.wantsList() {
		return o.engine.list(a.out)
	}
	told, err := cause.ParseIgnition(o.ignition)
	if err != nil {
		return usagef("--ignition: %w", err)
	}
	if _, err := o.engine.counting(false).Engine(misfire.Config{}); err != nil {
		return err
	}
	var number int64
	if len(rest) > 0 {
		if number, err = numberOf("job", rest[0]); err != nil {
			return err
		}
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		number, err := a.inHand(j, number, "stumble causes %d")
		if err != nil {
			return err
		}
		file, err := job.Open(j, number, o.engine.counting(false))
		if err != nil {
			return err
		}
		var learned *job.Learned
		if o.learn {
			if learned, err = job.Learn(j); err != nil {
				return err
			}
		}
		return a.rank(file, told, learned, o.asJSON)
	})
}

// rank prints and saves what may be behind the misfire of a job. A journal that cannot be written is no reason to hold it
// back.
func (a *app) rank(file *job.Case, told cause.Ignition, learned *job.Learned, asJSON bool) error {
	if learned != nil {
		file.Book = learned.Book
	}
	ranked, err := file.Rank(a.ctx, told)
	if err != nil {
		return err
	}
	shown := causesShown(ranked)
	if learned != nil {
		shown.Also = append(shown.Also, learnedWords(learned)...)
	}
	object := wire.NewCauses(shown)
	data, err := json.Marshal(object)
	if err != nil {
		return err
	}
	if err := file.SaveCauses(a.clock.Now(), data); err != nil {
		fmt.Fprintf(a.err, "the causes are NOT SAVED in the job: %s\n", explain(err))
	}
	if asJSON {
		return wire.WriteLine(a.out, object)
	}
	return report.WriteCauses(a.out, shown, textWidth)
}

// causesShown is a ranking as the views have it.
func causesShown(r *job.Ranking) *report.Causes {
	shown := &report.Causes{
		Job: r.Job, Vehicle: r.Vehicle, Followed: r.Followed, Drives: drivesWords(r.Drives), Ignition: r.Ignition,
		Result: r.Result, Also: alsoKnown(r),
	}
	if repair := r.Cured(); repair != nil {
		shown.Cured, shown.Proof = deedWords(repair), r.Last.Sentence
	}
	return shown
}

// alsoKnown is what a reader must know of how a ranking was made.
func alsoKnown(r *job.Ranking) (notes []string) {
	for i := range r.Left {
		notes = append(notes, leftWords(&r.Left[i]))
	}
	if r.Last != nil && r.Last.Sentence != "" {
		notes = append(notes, "what 'stumble compare' last found: "+r.Last.Sentence)
	}
	return notes
}
