package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
)

const repairedAbout = `Keep what was repaired or replaced in a job, and when: it parts the drives before from those after, for compare, causes and
report alike. Say it as soon as it is done, before the next drive; what is told late wants --at.

  stumble repaired JOB TEXT

'stumble jobs edit-note' and 'stumble jobs remove-note' mend what was told wrongly; the old version stays in the history.`

const swappedAbout = `Keep which parts changed places between two cylinders, and when: the drives after it are held against those before it, and
compare, causes and report tell whether the fault followed the part.

  stumble swapped JOB PART:A-B [TEXT]`

// deedOptions is what repaired and swapped were asked for.
type deedOptions struct {
	journal  journalOption
	at       string
	cylinder int
	part     string
}

func (o *deedOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	f.StringVar(&o.at, "at", "", atUsage)
}

const atUsage = "when it was done, a `TIME` as 14:05 (today) or \"2026-11-28 14:05\"; without it now, after all drives so far"

// repairedCommand is the command that keeps a repair.
func repairedCommand(a *app) *cobra.Command {
	var o deedOptions
	c := &cobra.Command{
		Use:     "repaired JOB TEXT",
		Short:   "tell what was repaired: parts the drives before from those after",
		Long:    repairedAbout,
		Example: "stumble repaired 3 new coil on cylinder 5 --cylinder 5 --part coil",
		Args:    cobra.ArbitraryArgs,
		RunE:    func(_ *cobra.Command, args []string) error { return repaired(a, &o, args) },
	}
	f := c.Flags()
	o.flags(f)
	f.IntVar(&o.cylinder, "cylinder", 0, "whose part it was, a `NUMBER`")
	f.StringVar(&o.part, "part", "", "what was repaired or replaced, a `PART` as coil, wire, plug or injector")
	return c
}

// swappedCommand is the command that keeps an exchange of parts.
func swappedCommand(a *app) *cobra.Command {
	var o deedOptions
	c := &cobra.Command{
		Use:     "swapped JOB PART:A-B [TEXT]",
		Short:   "tell which parts changed places between two cylinders",
		Long:    swappedAbout,
		Example: "stumble swapped 3 coil:5-3",
		Args:    cobra.ArbitraryArgs,
		RunE:    func(_ *cobra.Command, args []string) error { return swapped(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// repaired keeps a repair.
func repaired(a *app, o *deedOptions, words []string) error {
	number, words, err := jobAndWords("repaired", words)
	if err != nil {
		return err
	}
	text := onOneLine(strings.Join(words, " "))
	n := journal.Note{Kind: journal.NoteRepaired, Text: text, Part: onOneLine(o.part), Cylinder: o.cylinder}
	switch {
	case n.Text == "":
		return usagef("say what was repaired behind the job's number, as 'stumble repaired %d new coil on cylinder 5'", number)
	case o.cylinder < 0:
		return usagef("\"%d\" is no number of a cylinder: the first is 1", o.cylinder)
	}
	return o.keep(a, number, n, n.Cylinder)
}

// swapped keeps an exchange of parts.
func swapped(a *app, o *deedOptions, words []string) error {
	number, words, err := jobAndWords("swapped", words)
	if err != nil {
		return err
	}
	if len(words) == 0 {
		return usagef("say which parts changed places, as 'stumble swapped %d coil:5-3'", number)
	}
	swap, err := proof.ParseSwap(words[0])
	if err != nil {
		return usageError{err}
	}
	text := onOneLine(strings.Join(words[1:], " "))
	n := journal.Note{Kind: journal.NoteSwapped, Text: text, Part: swap.Part, Cylinder: swap.A, Other: swap.B}
	return o.keep(a, number, n, max(swap.A, swap.B))
}

// jobAndWords parts the number of a job from what follows it.
func jobAndWords(command string, words []string) (int64, []string, error) {
	if len(words) == 0 {
		return 0, nil, usagef("say which job by its number, then what was done; 'stumble %s --help' shows how", command)
	}
	number, err := numberOf("job", words[0])
	return number, words[1:], err
}

// keep keeps a deed in a job whose engine has the cylinder that it names.
func (o *deedOptions) keep(a *app, number int64, n journal.Note, cylinder int) error {
	now := a.clock.Now()
	done, err := parseAt(o.at, now)
	if err != nil {
		return err
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		b, err := j.Job(number)
		if err != nil {
			return err
		}
		if err := checkCylinder(j, &b, cylinder); err != nil {
			return err
		}
		if err := job.Note(j, number, n, done, now); err != nil {
			return err
		}
		_, err = fmt.Fprintf(a.out, "kept in job %d, %s; 'stumble compare --job %d' holds the drives since against the last before\n",
			number, onOneLine(job.VehicleName(b.Vehicle)), number)
		return err
	})
}

// checkCylinder refuses a cylinder that the engine of a job does not have, as far as anybody knows how many it has.
func checkCylinder(j *journal.Journal, b *journal.Job, cylinder int) error {
	n, err := job.Cylinders(j, b)
	if err == nil && n > 0 && cylinder > n {
		err = usagef("the engine of job %d, %s, has %d cylinders, no cylinder %d: check the number, or the job",
			b.ID, onOneLine(job.VehicleName(b.Vehicle)), n, cylinder)
	}
	return err
}

// parseAt reads when something was done; the zero time where nothing is said.
func parseAt(text string, now time.Time) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	now = now.Local()
	at, err := time.ParseInLocation("15:04", text, time.Local)
	if err == nil {
		at = time.Date(now.Year(), now.Month(), now.Day(), at.Hour(), at.Minute(), 0, 0, time.Local)
	}
	for _, form := range []string{"2006-01-02 15:04", "2006-01-02 15:04:05", time.RFC3339, "2006-01-02"} {
		if err != nil {
			at, err = time.ParseInLocation(form, text, time.Local)
		}
	}
	switch {
	case err != nil:
		return at, usagef("--at %q is no time: write it as 14:05, or as \"2026-11-28 14:05\"", onOneLine(text))
	case at.After(now):
		return at, usagef("--at %q is still to come: say when it was done", onOneLine(text))
	}
	return at, nil
}
