package main

import (
	"fmt"
	"runtime"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views/say"
	"stumble/views/wrap"
)

// journalOption names the file of the journal.
type journalOption struct{ path string }

func (o *journalOption) flags(f *pflag.FlagSet) {
	f.StringVar(&o.path, "journal", "", "the journal's `FILE`; without it what STUMBLE_JOURNAL names, or journal.db in the user's data folder")
}

// journalPath is the journal's file.
func (a *app) journalPath(o *journalOption) (string, error) {
	if o.path != "" {
		return o.path, nil
	}
	return journal.DefaultPath(a.env, runtime.GOOS)
}

// openJournal opens the journal, which begins one where none is unless it must exist, and prints what must be known of it.
func (a *app) openJournal(o *journalOption, existing bool) (*journal.Journal, error) {
	path, err := a.journalPath(o)
	if err != nil {
		return nil, err
	}
	j, notices, err := journal.Open(path, journal.Options{Existing: existing})
	a.printNotices(notices)
	return j, err
}

func (a *app) printNotices(notices []journal.Notice) {
	for i := range notices {
		fmt.Fprintln(a.err, say.English().JournalNotice(&notices[i]))
	}
}

// withJournal opens a journal that is there for as long as do runs: who reads or tidies begins none.
func (a *app) withJournal(o *journalOption, do func(*journal.Journal) error) error {
	return a.withAny(o, true, do)
}

// withNew is the same of a journal that is begun where there is none.
func (a *app) withNew(o *journalOption, do func(*journal.Journal) error) error {
	return a.withAny(o, false, do)
}

func (a *app) withAny(o *journalOption, existing bool, do func(*journal.Journal) error) error {
	j, err := a.openJournal(o, existing)
	if err != nil {
		return err
	}
	defer j.Close()
	return do(j)
}

// inHand is the number of the job that is meant: the one that was named, else the one in hand. Where several were in hand
// today it asks, or, without a terminal, wants the number: what is saved under the wrong car is worse than a question.
// command is what would name it.
func (a *app) inHand(j *journal.Journal, named int64, command string) (int64, error) {
	if named != 0 {
		return named, nil
	}
	now := a.clock.Now().Local()
	today, err := job.OpenSince(j, time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.Local))
	if err != nil {
		return 0, err
	}
	switch len(today) {
	case 0:
	case 1:
		return today[0].ID, nil
	default:
		return a.askJob(today, command)
	}
	last, err := job.InHand(j)
	return last.ID, err
}

// mostOffered is how many jobs a question names.
const mostOffered = 4

// askJob has one of several jobs named.
func (a *app) askJob(all []journal.Job, command string) (int64, error) {
	var names []string
	for i := range all[:min(len(all), mostOffered)] {
		names = append(names, fmt.Sprintf("%d %s", all[i].ID, wrap.Cut(onOneLine(job.VehicleName(all[i].Vehicle)), 38, '…')))
	}
	list := strings.Join(names, "; ")
	if !a.terminal.Present(a.in, a.written.Writer) {
		return 0, usagef("%d jobs were in hand today (%s): say which, as '%s'", len(all), list, fmt.Sprintf(command, all[0].ID))
	}
	fmt.Fprintf(a.err, "%d jobs were in hand today: %s.\nWhich (Enter is %d): ", len(all), list, all[0].ID)
	typed, err := a.readLine()
	if typed = strings.TrimSpace(typed); err != nil || typed == "" {
		return all[0].ID, err
	}
	return numberOf("job", typed)
}

// numberOf is the number of a job or drive, as it was typed.
func numberOf(what, text string) (int64, error) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n <= 0 {
		return 0, usagef("%q is no number of a %s; 'stumble jobs' lists them", text, what)
	}
	return n, nil
}
