package screen

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"strings"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views"
	"stumble/views/report"
	"stumble/views/say"
	"stumble/views/wrap"
)

// Shelf is where the screens of saved jobs take what they show. An error says in one line what is wrong and what to do.
// Those that take a context may take long: they are called beside the loop, one at a time, and give up when it ends.
type Shelf interface {
	Jobs() ([]journal.Job, error) // the newest first
	Page(ctx context.Context, job int64) (*job.Page, error)
	Causes(ctx context.Context, job int64) (*report.Causes, error)
	Bench(ctx context.Context, job int64) (*views.Bench, error)
	Proof(ctx context.Context, job int64) (*report.Comparison, error)
	Drives(job int64) ([]journal.Drive, error)
	Play(drive int64) (Screen, error) // plays a drive back
}

// NewJobs is the screen that lists the jobs, and from which the screens of each are reached.
func NewJobs(ctx context.Context, s Shelf) Screen {
	c := &chooser{name: "Jobs, the newest first", empty: noJobs, bottom: true,
		columns: " job  opened      vehicle               what"}
	all, err := s.Jobs()
	c.failed = err
	for i := range all {
		c.items = append(c.items, jobItem(ctx, s, &all[i]))
	}
	return c
}

const noJobs = "No job is saved yet. 'stumble intake' and 'stumble watch' begin one at the car; 'stumble demo' shows a " +
	"whole job without one."

func jobItem(ctx context.Context, s Shelf, b *journal.Job) item {
	vehicle := job.Printable(cmp.Or(b.Vehicle.Name, b.Vehicle.VIN))
	about := job.Printable(cmp.Or(b.Name, b.Complaint))
	counts := []string{say.Plural(b.Intakes, "intake", "intakes"), say.Plural(b.Drives, "drive", "drives"),
		say.Plural(b.Bench, "bench reading", "bench readings"), say.Plural(b.Notes, "note", "notes")}
	detail := []string{strings.Join(counts, ", ")}
	if b.Complaint != "" {
		detail = append(detail, "Complaint: "+job.Printable(b.Complaint))
	}
	id := b.ID
	return item{
		line:   fmt.Sprintf("%4d  %s  %s  %s", id, b.Opened.Local().Format("2006-01-02"), padded(vehicle, 20), about),
		detail: detail,
		open:   func() (Screen, error) { return newPage(ctx, s, id), nil },
		enter:  "opens",
	}
}

// padded is a text of exactly so many columns.
func padded(text string, w int) string {
	text = wrap.Cut(text, w, '…')
	return text + strings.Repeat(" ", w-wrap.Width(text))
}

// newPage is the screen of one job, with all that is saved under it.
func newPage(ctx context.Context, s Shelf, id int64) Screen {
	name := fmt.Sprintf("Job %d", id)
	load := func(ctx context.Context) (Layout, error) {
		p, err := s.Page(ctx, id)
		return func(w io.Writer, width int) error { return views.WriteJob(w, p, width) }, err
	}
	return newReader(ctx, name, "Reading the job ...", load,
		link{'d', "drives", func() Screen { return newDrives(s, name, id) }},
		link{'c', "causes", func() Screen { return newCauses(ctx, s, name, id) }},
		link{'b', "bench", func() Screen { return newBench(ctx, s, name, id) }},
		link{'p', "proof", func() Screen { return newProof(ctx, s, name, id) }})
}

// counting is said while drives are counted.
const counting = "Counting the job's drives ..."

// newCauses is the screen of what may be behind the misfire of a job.
func newCauses(ctx context.Context, s Shelf, name string, id int64) Screen {
	return newReader(ctx, name+": causes", counting, func(ctx context.Context) (Layout, error) {
		c, err := s.Causes(ctx, id)
		return func(w io.Writer, width int) error { return report.WriteCauses(w, c, width) }, err
	})
}

// newBench is the screen of what was measured by hand under a job.
func newBench(ctx context.Context, s Shelf, name string, id int64) Screen {
	return newReader(ctx, name+": bench", "Judging the readings ...", func(ctx context.Context) (Layout, error) {
		b, err := s.Bench(ctx, id)
		return func(w io.Writer, width int) error { return views.WriteBench(w, b, width) }, err
	})
}

// newProof is the screen of what a repair did: the drives before it against those after it.
func newProof(ctx context.Context, s Shelf, name string, id int64) Screen {
	return newReader(ctx, name+": proof", counting, func(ctx context.Context) (Layout, error) {
		c, err := s.Proof(ctx, id)
		return func(w io.Writer, width int) error { return report.WriteComparison(w, c, width) }, err
	})
}

// newDrives is the screen that lists the drives of a job.
func newDrives(s Shelf, name string, id int64) Screen {
	c := &chooser{name: name + ": drives", columns: " drive  started           length    samples",
		empty: "No drive is saved under this job yet: 'stumble watch' records one."}
	all, err := s.Drives(id)
	c.failed = err
	for i := range all {
		d := &all[i]
		number := d.ID
		c.items = append(c.items, item{
			line: fmt.Sprintf("%6d  %s  %-8s  %7d  %s", number, views.Minute(d.Started), views.DriveLength(d), d.Samples,
				job.Printable(d.Name)),
			open:   func() (Screen, error) { return s.Play(number) },
			enter:  "plays it back",
			detail: []string{driveState(d)},
		})
	}
	return c
}

func driveState(d *journal.Drive) string {
	switch d.State {
	case journal.DriveRecording:
		return "It is being recorded."
	case journal.DriveInterrupted:
		return "It was cut off before its end; what was saved until then is whole."
	}
	return ""
}

// jobsHelp tells how the screens of saved jobs are used.
func jobsHelp(*glyphs) []string {
	return []string{
		"# The jobs",
		"A job is one complaint on one vehicle, from the intake to the proven repair. What is recorded at the car is saved under one; this program lists them, the newest first, and shows each.",
		"# Keys",
		"Up and down choose a line, the page keys go on faster; Enter opens what is chosen.",
		"In a job: d lists its drives, and Enter plays one back as it was seen; c ranks what may be behind the misfire, with the cheapest next test; b shows what was measured by hand; p holds the drives before the repair against those after it.",
		"Space, the arrows and the page keys turn a text that is longer than the screen. Esc goes back, from a drive too. q or Ctrl-C: leave.",
		"# What it does not do",
		"Nothing is changed or sent from here. 'stumble help' lists the commands that record, measure, compare and print; 'stumble demo' shows a whole job without a car.",
	}
}
