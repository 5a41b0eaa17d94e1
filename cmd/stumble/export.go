package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/export"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/views/say"
)

const exportAbout = `Write a stored drive as a table for other programs. The README tells what its columns mean.

  --what samples   every reading, a row each
  --what windows   how far each counter rose between two refreshes
  --what tally     the rates by condition, by gear state and over the drive

Windows and tally are counted anew by the same rules as live. The format is that of the file's ending, .csv, .jsonl or
.parquet, unless --format says another. A file appears only once it is whole.`

// tables are what can be exported.
func tables() []string { return []string{"samples", "windows", "tally"} }

// exportOptions is what export was asked for.
type exportOptions struct {
	journal            journalOption
	what, format, path string
	force              bool
	anew               anewOption
}

// exportCommand is the command that writes a stored drive as a table.
func exportCommand(a *app) *cobra.Command {
	var o exportOptions
	c := &cobra.Command{
		Use:     "export DRIVE",
		Short:   "write a stored drive as CSV, JSON lines or Parquet",
		Long:    exportAbout,
		Example: "stumble export 7 --what windows --out windows.parquet",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return exportDrive(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

func (o *exportOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	f.StringVar(&o.what, "what", "samples", "which `TABLE`: "+strings.Join(tables(), ", "))
	f.StringVar(&o.format, "format", "", "how: a `FORMAT`, csv, jsonl or parquet; without it by the file's ending, else csv")
	f.StringVar(&o.path, "out", "", "the `FILE` to write; without it standard output, but parquet needs one")
	f.BoolVar(&o.force, "force", false, "replace the file if it is there already")
	o.anew.flags(f)
}

// exportDrive writes a stored drive as a table.
func exportDrive(a *app, o *exportOptions, rest []string) error {
	if len(rest) == 0 {
		return usagef("say which drive by its number; 'stumble jobs' lists the jobs, 'stumble jobs show JOB' their drives")
	}
	id, err := numberOf("drive", rest[0])
	if err != nil {
		return err
	}
	x := exporter{app: a, opts: o}
	if x.format, err = o.chosenFormat(); err != nil {
		return err
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		x.journal = j
		return x.run(id)
	})
}

func (o *exportOptions) chosenFormat() (f export.Format, err error) {
	if !slices.Contains(tables(), o.what) {
		return f, usagef("there is no table %q: give %s", o.what, strings.Join(tables(), ", "))
	}
	f = export.FormatOf(o.path)
	if o.format != "" {
		if f, err = export.ParseFormat(o.format); err != nil {
			return f, usageError{err}
		}
	}
	if f == export.Parquet && o.path == "" {
		return f, usagef("parquet cannot go to standard output: name a file with --out")
	}
	return f, nil
}

// exporter writes one table.
type exporter struct {
	*app
	opts    *exportOptions
	format  export.Format
	journal *journal.Journal
	drive   journal.Drive
	source  job.Source
}

// counting is how the drive is counted.
func (x *exporter) counting() *job.Options { return &job.Options{Anew: bool(x.opts.anew)} }

func (x *exporter) run(id int64) (err error) {
	if x.drive, err = x.journal.Drive(id); err != nil {
		return err
	}
	if x.drive.Samples == 0 {
		return fmt.Errorf("drive %d has no samples: there is nothing to export; 'stumble jobs show %d' lists the drives of its job", id, x.drive.Job)
	}
	if x.source, err = x.counting().Source(x.journal, id); err != nil {
		return err
	}
	if x.opts.path == "" {
		_, err := x.table(x.out)
		return err
	}
	rows := 0
	err = writeWhole(x.opts.path, x.opts.force, func(w io.Writer) error {
		rows, err = x.table(w)
		return err
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(x.out, "%s of the %s of drive %d in %s\n", say.Plural(rows, "row", "rows"), x.opts.what, id, x.opts.path)
	return err
}

// table writes the table that was asked for and tells its rows.
func (x *exporter) table(w io.Writer) (rows int, err error) {
	switch x.opts.what {
	case "windows":
		return writeTable(w, x.format, x.windows)
	case "tally":
		return writeTable(w, x.format, x.cells)
	}
	return writeTable(w, x.format, x.samples)
}

// writeTable writes what fill gives it.
func writeTable[R export.Row](w io.Writer, f export.Format, fill func(write func([]R) error) error) (rows int, err error) {
	t, err := export.NewWriter[R](w, f)
	if err != nil {
		return 0, err
	}
	if err := fill(t.Write); err != nil {
		return 0, err
	}
	return t.Rows(), t.Close()
}

func (x *exporter) samples(write func([]export.Sample) error) error {
	var start time.Time
	var rows []export.Sample
	return x.source.Events(x.ctx, func(e job.Event) error {
		if e.Mark != nil {
			if e.Mark.Kind == journal.MarkGap {
				fmt.Fprintln(x.err, missingHere+e.Mark.Gap.Error())
			}
			return nil
		}
		if start.IsZero() {
			start = e.Sample.Sent
		}
		rows = export.AppendSample(rows[:0], start, e.Sample)
		return write(rows)
	})
}

func (x *exporter) windows(write func([]export.Window) error) error {
	var start time.Time
	var rows []export.Window
	number := 0
	d, err := x.counted()
	if err != nil {
		return err
	}
	var failed error
	d.EachWindow(func(w *misfire.Window) {
		if failed == nil {
			number++
			rows = export.AppendWindow(rows[:0], number, start, w)
			failed = write(rows)
			d.Fail(failed)
		}
	})
	d.Heed(func(s *obd.Sample) {
		if start.IsZero() {
			start = s.Sent
		}
	})
	_, err = d.Summarise(x.ctx)
	return err
}

func (x *exporter) cells(write func([]export.Cell) error) error {
	d, err := x.counted()
	if err != nil {
		return err
	}
	summary, err := d.Summarise(x.ctx)
	if err != nil {
		return err
	}
	return write(export.Cells(summary))
}

// counted makes ready to count the drive anew, and to tell what of it is missing.
func (x *exporter) counted() (*job.Drive, error) {
	d, err := x.counting().Drive(x.journal, x.drive.ID)
	if err != nil {
		return nil, err
	}
	d.Notify = func(n job.Notice) error {
		fmt.Fprintln(x.err, noticeWords(n, x.journal))
		return nil
	}
	return d, nil
}
