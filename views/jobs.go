package views

import (
	"fmt"
	"io"
	"strings"
	"time"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/views/say"
)

// JobLine is a job on one line.
func JobLine(b *journal.Job) string {
	under := say.Plural(b.Intakes, "intake", "intakes") + ", " + say.Plural(b.Drives, "drive", "drives")
	words := []string{fmt.Sprintf("%4d", b.ID), Minute(b.Opened), job.Printable(job.VehicleName(b.Vehicle)), under}
	for _, text := range []string{b.Name, b.Complaint} {
		if text != "" {
			words = append(words, job.Printable(text))
		}
	}
	return strings.Join(words, "  ")
}

// WriteJob writes all that is saved under a job, as text of at most so many columns. The error is w's.
func WriteJob(w io.Writer, p *job.Page, width int) error {
	text := jobText{page{width: width}, p}
	text.write()
	_, err := io.WriteString(w, text.String())
	return err
}

// jobText is a job's page being written.
type jobText struct {
	page
	*job.Page
}

func (p *jobText) write() {
	line := func(label, text string) {
		if text = job.Printable(text); text != "" {
			p.paragraph(fmt.Sprintf("%-11s", label+" "), text)
		}
	}
	line("job", fmt.Sprintf("%d %s", p.Job.ID, p.Job.Name))
	v := p.Job.Vehicle
	line("vehicle", job.VehicleName(v))
	line("engine", v.Layout)
	line("map", v.Map)
	line("complaint", p.Job.Complaint)
	line("opened", Minute(p.Job.Opened))
	for i := range p.Intakes {
		what := "intake"
		if p.Intakes[i].Intake == nil {
			what = "codes" // read by themselves
		}
		line(what, Minute(p.Intakes[i].At)+"  "+codesInWords(p.Intakes[i].Codes))
	}
	for i := range p.Drives {
		d := &p.Drives[i]
		line(fmt.Sprintf("drive %d", d.ID), Minute(d.Started)+", "+DriveLength(d)+": "+p.sentence(d))
	}
	for i := range p.Notes {
		label, text := noteLine(&p.Notes[i])
		line(label, text)
	}
	for _, r := range p.Reported {
		line("symptom", Minute(r.At)+"  "+r.Text)
	}
	if p.Job.Bench > 0 {
		line("bench", say.Plural(p.Job.Bench, "reading", "readings"))
	}
	if c := p.Judged; c != nil {
		line("compared", Minute(c.At)+"  "+c.Sentence)
	}
	if c := p.Closed; c != nil {
		text := Minute(c.At) + "  " + c.Cause
		if c.Cylinder > 0 {
			text += fmt.Sprintf(", cylinder %d", c.Cylinder)
		}
		line("closed", text)
	}
}

// noteLine is a note as it is listed: what kind it is of with its number, and what it tells.
func noteLine(n *journal.Note) (label, text string) {
	label = "note"
	what := n.Text
	switch n.Kind {
	case journal.NoteRepaired:
		label = "repaired"
		if n.Part != "" || n.Cylinder != 0 {
			what = strings.TrimSpace(what + " (" + partWords(n) + ")")
		}
	case journal.NoteSwapped:
		label = "swapped"
		what = strings.TrimSpace(fmt.Sprintf("%ss of cylinders %d and %d %s", n.Part, n.Cylinder, n.Other, what))
	}
	return fmt.Sprintf("%s %d", label, n.ID), Minute(n.At) + "  " + what
}

// partWords is whose part a repair was of, as far as it was told.
func partWords(n *journal.Note) string {
	switch {
	case n.Cylinder == 0:
		return n.Part
	case n.Part == "":
		return fmt.Sprintf("cylinder %d", n.Cylinder)
	}
	return fmt.Sprintf("%s of cylinder %d", n.Part, n.Cylinder)
}

// WriteNotes writes every version of notes as text of at most so many columns. The error is w's.
func WriteNotes(w io.Writer, all []journal.Note, width int) error {
	p := page{width: width}
	for i := range all {
		n := &all[i]
		label, text := noteLine(n)
		if !n.Written.IsZero() && !n.Written.Equal(n.At) {
			text += "; written " + Minute(n.Written)
		}
		switch {
		case n.Until.IsZero():
		case i+1 < len(all) && all[i+1].ID == n.ID:
			text += "; changed " + Minute(n.Until)
		default:
			text += "; taken back " + Minute(n.Until)
		}
		p.paragraph(fmt.Sprintf("%-11s", label+" "), job.Printable(text))
	}
	_, err := io.WriteString(w, p.String())
	return err
}

// sentence is what a drive showed, or why there is none.
func (p *jobText) sentence(d *journal.Drive) string {
	said := p.Sentences[d.ID]
	switch {
	case d.State == journal.DriveRecording:
		said = "it is being recorded"
	case d.State == journal.DriveInterrupted:
		said = fmt.Sprintf("cut off before its end; 'stumble playback %d --plain' counts what is saved", d.ID)
	case said == "":
		said = fmt.Sprintf("'stumble playback %d --plain' counts it", d.ID)
	}
	if d.Lost > 0 {
		said += fmt.Sprintf(" (%d samples and exchanges could not be saved)", d.Lost)
	}
	return said
}

// codesInWords are the codes of all modules by list, each once.
func codesInWords(r *obd.CodeReport) string {
	var lists []string
	for _, l := range []struct {
		name string
		of   func(*obd.ModuleCodes) []obd.Code
	}{
		{"stored", func(m *obd.ModuleCodes) []obd.Code { return m.Stored }},
		{"pending", func(m *obd.ModuleCodes) []obd.Code { return m.Pending }},
		{"permanent", func(m *obd.ModuleCodes) []obd.Code { return m.Permanent }},
	} {
		seen := make(map[obd.Code]bool)
		var words []string
		for i := range r.Modules {
			for _, c := range l.of(&r.Modules[i]) {
				if !seen[c] {
					words = append(words, c.String())
				}
				seen[c] = true
			}
		}
		if len(words) > 0 {
			lists = append(lists, l.name+" "+strings.Join(words, " "))
		}
	}
	if len(lists) == 0 {
		lists = append(lists, "no codes")
	}
	if len(r.Unread) > 0 {
		lists = append(lists, fmt.Sprintf("not everything could be read (%s)", strings.Join(unreadWords(r.Unread), "; ")))
	}
	return strings.Join(lists, ", ")
}

// Minute is a time as it is listed.
func Minute(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }

// DriveLength is how long a stored drive lasted.
func DriveLength(d *journal.Drive) string { return d.Ended.Sub(d.Started).Round(time.Second).String() }

func unreadWords(all []obd.Unread) []string {
	words := make([]string, len(all))
	for i := range all {
		words[i] = say.English().Unread(&all[i])
	}
	return words
}
