package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/journal"
	"stumble/views/report"
)

const reportAbout = `Write the drive-cycle report of a job: what the owner complained of, what was found and done, before and after with the
proof, charts, what the car still wants before an emission inspection, how it was measured and what is not known. The
drives are those that 'stumble compare' compared last, else the last before the repair and all since.

  stumble report JOB               as text, to read or to print with lp
  stumble report JOB --html FILE   one page for a browser, all within itself
  stumble report JOB --pdf FILE    for the printer and the customer

Without JOB it is the one in hand. A FILE - is standard output. The name and logo of the shop stand in a settings file;
README.md tells how to write one.`

// reportOptions is what report was asked for.
type reportOptions struct {
	journal      journalOption
	settings     settingsOption
	text         bool
	html, pdf    string
	width        int
	paper, units string
	open, force  bool
}

func (o *reportOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	o.settings.flags(f)
	f.BoolVar(&o.text, "text", false, "write text to standard output, which is what is done when nothing else is asked for")
	f.StringVar(&o.html, "html", "", "write a page for a browser into this `FILE`")
	f.StringVar(&o.pdf, "pdf", "", "write a PDF into this `FILE`")
	f.IntVar(&o.width, "width", 72, "how wide a line of text is, in `COLUMNS`: 72 or 132")
	f.StringVar(&o.paper, "paper", "", "the `SHEET` it is printed on: a4 or letter; else as the settings say, else a4")
	f.StringVar(&o.units, "units", "", unitsUsage)
	f.BoolVar(&o.open, "open", false, "open the file that was written")
	f.BoolVar(&o.force, "force", false, "replace the file if it is there already")
}

// reportCommand is the command that writes the report of a job.
func reportCommand(a *app) *cobra.Command {
	var o reportOptions
	c := &cobra.Command{
		Use:     "report [JOB]",
		Short:   "write the drive-cycle report of a job: text, a page, a PDF",
		Long:    reportAbout,
		Example: "stumble report 3 --html job3.html --open",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return writeReports(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// writeReports writes the report of a job.
func writeReports(a *app, o *reportOptions, rest []string) (err error) {
	var number int64
	if len(rest) > 0 {
		if number, err = numberOf("job", rest[0]); err != nil {
			return err
		}
	}
	outputs, err := o.outputs()
	if err != nil {
		return err
	}
	s, err := a.readSettings(&o.settings)
	if err != nil {
		return err
	}
	options, err := s.reportOptions(o.paper, o.units)
	if err != nil {
		return err
	}
	for _, out := range outputs { // better told before an hour of driving is counted than after
		if err := out.may(o.force); err != nil {
			return err
		}
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		number, err := a.inHand(j, number, "stumble report %d")
		if err != nil {
			return err
		}
		c, err := a.reported(j, number)
		if err != nil {
			return err
		}
		c.Shop = s.shop
		return a.writeReport(report.Compose(c, options), outputs, o.force, o.open)
	})
}

// reportOutput is one form of the report and where it goes; the path is empty for standard output.
type reportOutput struct {
	form  string
	path  string
	write func(*report.Document, io.Writer) error
}

// may tells whether the file may be written, before the work is done.
func (o *reportOutput) may(force bool) error {
	if o.path == "" {
		return nil
	}
	return mayWrite(o.path, force)
}

// outputs are the forms that were asked for.
func (o *reportOptions) outputs() (outputs []reportOutput, err error) {
	if o.width != 72 && o.width != 132 {
		return nil, usagef("a --width of %d columns cannot be had: give 72 or 132", o.width)
	}
	add := func(form, path string, write func(*report.Document, io.Writer) error) {
		if path == "-" {
			path = ""
		}
		outputs = append(outputs, reportOutput{form, path, write})
	}
	if o.html != "" {
		add("page", o.html, (*report.Document).WriteHTML)
	}
	if o.pdf != "" {
		add("PDF", o.pdf, (*report.Document).WritePDF)
	}
	if o.text || len(outputs) == 0 {
		add("text", "-", func(d *report.Document, w io.Writer) error { return d.WriteText(w, o.width) })
	}
	files := make(map[string]bool)
	for _, out := range outputs {
		path := filepath.Clean(out.path)
		if files[path] {
			return nil, usagef("two forms of the report cannot go to one place: name a file for each")
		}
		files[path] = true
	}
	if o.open && (outputs[0].path == "" || len(outputs) > 1) {
		return nil, usagef("--open opens one file that is written: name it with --html or --pdf")
	}
	return outputs, nil
}

// writeReport lays the document out in each form.
func (a *app) writeReport(d *report.Document, outputs []reportOutput, force, open bool) error {
	talk := a.out
	if slices.ContainsFunc(outputs, func(o reportOutput) bool { return o.path == "" }) {
		talk = a.err // standard output is the report
	}
	for _, out := range outputs {
		if out.path == "" {
			if err := out.write(d, a.out); err != nil {
				return err
			}
			continue
		}
		if err := writeWhole(out.path, force, func(w io.Writer) error { return out.write(d, w) }); err != nil {
			return err
		}
		fmt.Fprintf(talk, "the %s is in %s\n", out.form, out.path)
		if open {
			return a.open(out.path)
		}
	}
	return nil
}
