package main

import (
	"fmt"
	"runtime"
	"strconv"

	"github.com/spf13/pflag"

	"stumble/misfire/journal"
	"stumble/views/say"
)

// journalOption names the file of the journal.
type journalOption struct{ path string }

func (o *journalOption) flags(f *pflag.FlagSet) {
	f.StringVar(&o.path, "journal", "", "the journal's `FILE`; without it what STUMBLE_JOURNAL names, or journal.db in the user's data folder")
}

// openJournal opens the journal and prints what must be known of it.
func (a *app) openJournal(o *journalOption) (*journal.Journal, error) {
	path := o.path
	if path == "" {
		var err error
		if path, err = journal.DefaultPath(a.env, runtime.GOOS); err != nil {
			return nil, err
		}
	}
	j, notices, err := journal.Open(path, journal.Options{})
	a.printNotices(notices)
	return j, err
}

func (a *app) printNotices(notices []journal.Notice) {
	for i := range notices {
		fmt.Fprintln(a.err, say.English().JournalNotice(&notices[i]))
	}
}

// withJournal opens the journal for as long as do runs.
func (a *app) withJournal(o *journalOption, do func(*journal.Journal) error) error {
	j, err := a.openJournal(o)
	if err != nil {
		return err
	}
	defer j.Close()
	return do(j)
}

// numberOf is the number of a job or drive, as it was typed.
func numberOf(what, text string) (int64, error) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n <= 0 {
		return 0, usagef("%q is no number of a %s; 'stumble jobs' lists them", text, what)
	}
	return n, nil
}
