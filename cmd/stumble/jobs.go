package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/wire"
)

const jobsAbout = `The jobs in the journal, the newest first, a line each. A job is one complaint on one vehicle.

  stumble jobs show JOB            vehicle, intakes, drives, notes by number
  stumble jobs name JOB TEXT       give it a name
  stumble jobs note JOB TEXT       add a note; --at dates it
  stumble jobs edit-note NOTE TEXT put another text, or --at time, in its place
  stumble jobs remove-note NOTE    take it back
  stumble jobs history JOB         all versions of its notes: none is ever lost
  stumble jobs symptom JOB TEXT    what the driver reports, for 'stumble causes'
  stumble jobs close JOB           with --cause and --cylinder: what it was
  stumble jobs delete JOB          delete it and all that is under it, for good
  stumble jobs delete-drive DRIVE  delete one drive, for good
  stumble jobs export JOB FILE     write it and all under it to a new file
  stumble jobs import FILE         take in a job from such a file`

// jobsOptions is what jobs was asked for.
type jobsOptions struct {
	journal     journalOption
	find, at    string
	cause       string // of close
	cylinder    int
	asJSON, yes bool
}

// jobVerb is something that can be done with what is in the journal.
type jobVerb struct {
	name string
	what string // what its number is of; empty where it takes none
	text string // what follows, as help calls it; empty where nothing does
	run  func(b *jobBook, id int64, text string) error
}

func jobVerbs() []jobVerb {
	return []jobVerb{
		{"show", "job", "", (*jobBook).show},
		{"name", "job", "TEXT", (*jobBook).name},
		{"note", "job", "TEXT", (*jobBook).note},
		{"edit-note", "note", "TEXT", (*jobBook).editNote},
		{"remove-note", "note", "", (*jobBook).removeNote},
		{"history", "job", "", (*jobBook).history},
		{"symptom", "job", "TEXT", (*jobBook).symptom},
		{"close", "job", "", (*jobBook).closeJob},
		{"delete", "job", "", (*jobBook).deleteJob},
		{"delete-drive", "drive", "", (*jobBook).deleteDrive},
		{"export", "job", "FILE", (*jobBook).export},
		{"import", "", "FILE", (*jobBook).take},
	}
}

// jobsCommand is the command that lists jobs, or does something with one.
func jobsCommand(a *app) *cobra.Command {
	var o jobsOptions
	c := &cobra.Command{
		Use:     "jobs [WHAT TO DO]",
		Short:   "list, show, note, close, delete, export and import what is saved",
		Long:    jobsAbout + "\n\n" + causesByKey(),
		Example: "stumble jobs note 3 coils of cylinders 5 and 3 exchanged",
		Args:    cobra.ArbitraryArgs,
		RunE:    func(_ *cobra.Command, args []string) error { return jobs(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

func (o *jobsOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	f.StringVar(&o.find, "find", "", "list only those with this `TEXT` in name, complaint, vehicle or VIN")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
	f.StringVar(&o.at, "at", "", "of note and edit-note: "+atUsage)
	f.BoolVar(&o.yes, "yes", false, "delete without asking")
	f.StringVar(&o.cause, "cause", "", "of close: the `CAUSE` that was found, as 'stumble causes --json' calls it")
	f.IntVar(&o.cylinder, "cylinder", 0, "of close: the `CYLINDER` it sat on")
}

// jobs lists jobs, or does something with one.
func jobs(a *app, o *jobsOptions, rest []string) error {
	if len(rest) == 0 {
		return a.listJobs(o)
	}
	verb, id, text, err := parseVerb(rest)
	switch {
	case err != nil:
		return err
	case o.at != "" && verb.name != "note" && verb.name != "edit-note":
		return usagef("--at dates a note: it goes with 'stumble jobs note' and 'stumble jobs edit-note' alone")
	}
	with := a.withJournal
	if verb.what == "" { // it brings its own job along
		with = a.withNew
	}
	return with(&o.journal, func(j *journal.Journal) error { return verb.run(&jobBook{a, j, o}, id, text) })
}

// listJobs lists the jobs. Where nobody has named a file and none is there, nothing was saved yet.
func (a *app) listJobs(o *jobsOptions) error {
	err := a.withJournal(&o.journal, func(j *journal.Journal) error { return (&jobBook{a, j, o}).list() })
	var absent *journal.Error
	if o.journal.path != "" || !errors.As(err, &absent) || !errors.Is(err, journal.ErrAbsent) {
		return err
	}
	return a.writeJobs(absent.Path, nil, o.asJSON)
}

// parseVerb reads VERB [NUMBER] and, where it takes one, a text.
func parseVerb(words []string) (verb jobVerb, id int64, text string, err error) {
	for _, v := range jobVerbs() {
		if v.name == words[0] {
			verb = v
		}
	}
	if verb.name == "" {
		return verb, 0, "", usagef("jobs cannot %q; 'stumble jobs --help' lists what it can", words[0])
	}
	words = words[1:]
	if verb.what != "" {
		if len(words) == 0 {
			return verb, 0, "", usagef("say which %s by its number; 'stumble jobs%s' lists them", verb.what, map[string]string{"note": " show JOB"}[verb.what])
		}
		if id, err = numberOf(verb.what, words[0]); err != nil {
			if verb.what == "note" {
				err = usagef("%q is no number of a note; 'stumble jobs show JOB' lists them", onOneLine(words[0]))
			}
			return verb, 0, "", err
		}
		words = words[1:]
	}
	text, err = verb.words(words)
	return verb, id, text, err
}

// words are what follows the number, as far as the verb takes it.
func (v *jobVerb) words(words []string) (string, error) {
	most := 0
	switch v.text {
	case "TEXT":
		most = len(words)
	case "FILE":
		most = 1
	}
	if len(words) > most {
		return "", usagef("%q is one argument too many; 'stumble jobs --help' tells what it takes", words[most])
	}
	text := strings.Join(words, " ")
	if v.text == "TEXT" {
		text = onOneLine(text)
	}
	if v.text != "" && text == "" {
		return "", usagef("%s is missing after 'stumble jobs %s'; 'stumble jobs --help' tells what it takes", v.text, v.name)
	}
	return text, nil
}

// jobBook is the journal with what it is asked.
type jobBook struct {
	*app
	journal *journal.Journal
	opts    *jobsOptions
}

func (b *jobBook) list() error {
	all, err := b.journal.Jobs(journal.JobFilter{Text: b.opts.find})
	if err != nil {
		return err
	}
	return b.writeJobs(b.journal.Path(), all, b.opts.asJSON)
}

// writeJobs writes the jobs of a file.
func (a *app) writeJobs(path string, all []journal.Job, asJSON bool) error {
	if asJSON {
		return wire.WriteLine(a.out, wire.NewJobs(all))
	}
	if len(all) == 0 {
		_, err := fmt.Fprintf(a.out, "no job in %s; 'stumble intake' and 'stumble watch' begin one\n", path)
		return err
	}
	for i := range all {
		if _, err := fmt.Fprintln(a.out, views.JobLine(&all[i])); err != nil {
			return err
		}
	}
	return nil
}

func (b *jobBook) show(id int64, _ string) error {
	p, err := job.ReadPage(b.journal, id)
	if err != nil {
		return err
	}
	if b.opts.asJSON {
		return wire.WriteLine(b.out, wire.NewJob(p))
	}
	return views.WriteJob(b.out, p, textWidth)
}

func (b *jobBook) name(id int64, text string) error {
	if err := b.journal.NameJob(id, text); err != nil {
		return err
	}
	return b.done("job %d is named %s", id, text)
}

func (b *jobBook) note(id int64, text string) error {
	now := b.clock.Now()
	at, err := parseAt(b.opts.at, now)
	if err != nil {
		return err
	}
	of, err := b.journal.Job(id)
	if err != nil {
		return err
	}
	if err := job.Note(b.journal, id, journal.Note{Text: text}, at, now); err != nil {
		return err
	}
	if err := b.done("noted in job %d, %s", id, onOneLine(job.VehicleName(of.Vehicle))); err != nil {
		return err
	}
	b.hint(id, text)
	return nil
}

// hint says of a note that tells of an exchange of parts how it would be told so that it counts.
func (b *jobBook) hint(id int64, text string) {
	if words := strings.ToLower(text); strings.Contains(words, "swap") || strings.Contains(words, "exchang") {
		fmt.Fprintf(b.err, "a note parts no drives: if parts changed places, say 'stumble swapped %d PART:A-B', too\n", id)
	}
}

func (b *jobBook) editNote(id int64, text string) error {
	n, of, err := b.journal.FindNote(id)
	if err != nil {
		return err
	}
	now := b.clock.Now()
	at, err := parseAt(b.opts.at, now)
	if err != nil {
		return err
	}
	if n.Text, n.Written = text, now; !at.IsZero() {
		n.At, n.Order = at, journal.Order{}
	}
	if err := b.journal.ChangeNote(n); err != nil {
		return err
	}
	return b.done("note %d of job %d is changed; 'stumble jobs history %d' keeps the old one", id, of, of)
}

func (b *jobBook) removeNote(id int64, _ string) error {
	_, of, err := b.journal.FindNote(id)
	if err == nil {
		err = b.journal.RemoveNote(id, b.clock.Now())
	}
	if err != nil {
		return err
	}
	return b.done("note %d of job %d is taken back; 'stumble jobs history %d' keeps it", id, of, of)
}

func (b *jobBook) history(id int64, _ string) error {
	if _, err := b.journal.Job(id); err != nil {
		return err
	}
	all, err := b.journal.NoteHistory(id)
	if err != nil {
		return err
	}
	if b.opts.asJSON {
		return wire.WriteLine(b.out, wire.NewNoteHistory(id, all))
	}
	if len(all) == 0 {
		return b.done("job %d holds no note", id)
	}
	return views.WriteNotes(b.out, all, textWidth)
}

func (b *jobBook) deleteJob(id int64, _ string) error {
	found, err := b.journal.Job(id)
	if err == nil {
		err = b.confirm("job", id, views.JobLine(&found))
	}
	if err == nil {
		err = b.journal.DeleteJob(id)
	}
	if err != nil {
		return err
	}
	return b.done("job %d is deleted", id)
}

func (b *jobBook) deleteDrive(id int64, _ string) error {
	drive, err := b.journal.Drive(id)
	if err == nil {
		err = b.confirm("drive", id, fmt.Sprintf("drive %d of job %d, %s, %s", id, drive.Job, views.Minute(drive.Started), views.DriveLength(&drive)))
	}
	if err == nil {
		err = b.journal.DeleteDrive(id)
	}
	if err != nil {
		return err
	}
	return b.done("drive %d is deleted", id)
}

// export writes a job to a new file, and leaves none that is not whole.
func (b *jobBook) export(id int64, path string) error {
	if _, err := b.journal.Job(id); err != nil {
		return err
	}
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already: name a new file", path)
	}
	if err != nil {
		return fmt.Errorf("the file cannot be made: %w; name another", err)
	}
	err = b.journal.ExportJob(id, file)
	if err = errors.Join(err, file.Close()); err != nil {
		return errors.Join(fmt.Errorf("job %d is not exported: %w", id, err), os.Remove(path))
	}
	return b.done("job %d is in %s; 'stumble jobs import' takes it in elsewhere", id, path)
}

// take takes in what export wrote.
func (b *jobBook) take(_ int64, path string) error {
	file, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("the file cannot be read: %w; name one that 'stumble jobs export' wrote", err)
	}
	defer file.Close()
	found, err := b.journal.ImportJob(file)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return b.done("%s", say.English().Imported(found))
}

func (b *jobBook) done(format string, args ...any) error {
	_, err := fmt.Fprintf(b.out, format+"\n", args...)
	return err
}

// confirm has the number typed of what is to be deleted.
func (b *jobBook) confirm(what string, id int64, line string) error {
	if b.opts.yes {
		return nil
	}
	fmt.Fprintf(b.err, "%s\nThis deletes it for good. Type its number to go on: ", line)
	typed, err := b.readLine()
	if err != nil {
		return err
	}
	if strings.TrimSpace(typed) != fmt.Sprint(id) {
		return fmt.Errorf("%s %d is not deleted: its number was not typed; say --yes to delete without asking", what, id)
	}
	return nil
}

// readLine reads what is typed; nothing at the input's end. The reading cannot be called off, so it is left behind
// when the user gives up.
func (a *app) readLine() (string, error) {
	typed, lines := make(chan string, 1), a.lines()
	go func() {
		line, _ := lines.ReadString('\n')
		typed <- line
	}()
	select {
	case line := <-typed:
		return line, nil
	case <-a.ctx.Done():
		return "", context.Cause(a.ctx)
	}
}

// onOneLine is a text without line ends and whatever else would disturb a terminal.
func onOneLine(text string) string { return job.Printable(text) }
