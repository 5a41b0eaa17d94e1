package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/views"
	"stumble/views/report"
	"stumble/views/say"
)

// jobPage is all that is shown of a job.
type jobPage struct {
	job       journal.Job
	intakes   []journal.IntakeRecord
	drives    []journal.Drive
	notes     []journal.Note
	sentences map[int64]string  // what was concluded, by drive
	judged    *comparisonObject // what the last comparison came to; nil without one
}

func readJobPage(j *journal.Journal, id int64) (p *jobPage, err error) {
	p = &jobPage{sentences: make(map[int64]string)}
	if p.job, err = j.Job(id); err != nil {
		return nil, err
	}
	if p.intakes, err = j.Intakes(id); err != nil {
		return nil, err
	}
	if p.drives, err = j.Drives(id); err != nil {
		return nil, err
	}
	if p.notes, err = j.Notes(id); err != nil {
		return nil, err
	}
	verdicts, err := j.Verdicts(id)
	for _, v := range verdicts {
		var said struct {
			Verdict struct{ Sentence string }
		}
		// What another version wrote may differ: then the drive is shown without its sentence.
		if v.Kind == journal.VerdictDrive && json.Unmarshal(v.Data, &said) == nil {
			p.sentences[v.Drive] = said.Verdict.Sentence
		}
		if c, is := job.KeptComparison(&v); is && c.Outcome != "" {
			p.judged = &comparisonObject{Time: views.Stamp(v.At), Outcome: c.Outcome, Sentence: c.Sentence}
		}
	}
	return p, err
}

// jobLine is a job on one line.
func jobLine(b *journal.Job) string {
	words := []string{fmt.Sprintf("%4d", b.ID), minute(b.Opened), onOneLine(job.VehicleName(b.Vehicle)), say.Plural(b.Intakes, "intake", "intakes") + ", " + say.Plural(b.Drives, "drive", "drives")}
	for _, text := range []string{b.Name, b.Complaint} {
		if text != "" {
			words = append(words, onOneLine(text))
		}
	}
	return strings.Join(words, "  ")
}

// write prints the page. The writer remembers what fails.
func (p *jobPage) write(w io.Writer) {
	line := func(label, text string) {
		if text = onOneLine(text); text != "" {
			writeWrapped(w, fmt.Sprintf("%-11s", label), text)
		}
	}
	line("job", fmt.Sprintf("%d %s", p.job.ID, p.job.Name))
	v := p.job.Vehicle
	line("vehicle", job.VehicleName(v))
	line("engine", v.Layout)
	line("map", v.Map)
	line("complaint", p.job.Complaint)
	line("opened", minute(p.job.Opened))
	for i := range p.intakes {
		what := "intake"
		if p.intakes[i].Intake == nil {
			what = "codes" // read by themselves
		}
		line(what, minute(p.intakes[i].At)+"  "+codesInWords(p.intakes[i].Codes))
	}
	for i := range p.drives {
		d := &p.drives[i]
		line(fmt.Sprintf("drive %d", d.ID), minute(d.Started)+", "+lengthOf(d)+": "+p.sentence(d))
	}
	for _, n := range p.notes {
		line("note", minute(n.At)+"  "+n.Text)
	}
	if p.job.Bench > 0 {
		line("bench", say.Plural(p.job.Bench, "reading", "readings"))
	}
	if c := p.judged; c != nil {
		line("compared", minute(time.Time(c.Time))+"  "+c.Sentence)
	}
}

// sentence is what a drive showed, or why there is none.
func (p *jobPage) sentence(d *journal.Drive) string {
	said := p.sentences[d.ID]
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
		unread := make([]string, len(r.Unread))
		for i := range r.Unread {
			unread[i] = unreadLine(&r.Unread[i])
		}
		lists = append(lists, fmt.Sprintf("not everything could be read (%s)", strings.Join(unread, "; ")))
	}
	return strings.Join(lists, ", ")
}

// jobsObject is the list of jobs: {"kind":"jobs",...}.
type jobsObject struct {
	Kind string    `json:"kind"`
	Jobs []jobHead `json:"jobs"`
}

// jobHead is a job without what is under it.
type jobHead struct {
	Job       int64         `json:"job"`
	Name      views.Word    `json:"name"`
	Complaint views.Word    `json:"complaint"`
	Opened    views.Stamp   `json:"opened"`
	Vehicle   vehicleObject `json:"vehicle"`
	Intakes   int           `json:"intake_count"`
	Drives    int           `json:"drive_count"`
	Bench     int           `json:"bench_count"`
	Notes     int           `json:"note_count"`
	Last      views.Stamp   `json:"last_drive"` // end of its last drive
}

type vehicleObject struct {
	VIN    views.Word `json:"vin"`
	Name   views.Word `json:"name"`
	Layout views.Word `json:"layout"`
	Map    views.Word `json:"map"`
}

// jobObject is a job with what is under it: {"kind":"job",...}.
type jobObject struct {
	Kind string `json:"kind"`
	jobHead
	Intakes []intakeObject    `json:"intakes"`
	Drives  []driveObject     `json:"drives"`
	Notes   []noteObject      `json:"notes"`
	Judged  *comparisonObject `json:"last_comparison"`
}

// comparisonObject is what a comparison came to when it was last made.
type comparisonObject struct {
	Time     views.Stamp `json:"time"`
	Outcome  string      `json:"outcome"`
	Sentence string      `json:"sentence"`
}

type intakeObject struct {
	Time  views.Stamp  `json:"time"`
	Codes report.Codes `json:"codes"`
}

type driveObject struct {
	Drive     int64              `json:"drive"`
	Name      views.Word         `json:"name"`
	State     journal.DriveState `json:"state"` // "recording", "finished", "interrupted"
	Start     views.Stamp        `json:"start"`
	End       views.Stamp        `json:"end"`
	Sentence  views.Word         `json:"sentence"`
	Samples   int                `json:"samples"`
	Exchanges int                `json:"exchanges"`
	Lost      int                `json:"lost"` // samples and exchanges that could not be saved
}

type noteObject struct {
	Time views.Stamp `json:"time"`
	Text string      `json:"text"`
}

func newJobsObject(all []journal.Job) jobsObject {
	o := jobsObject{Kind: "jobs", Jobs: []jobHead{}}
	for i := range all {
		o.Jobs = append(o.Jobs, newJobHead(&all[i]))
	}
	return o
}

func newJobHead(b *journal.Job) jobHead {
	v := b.Vehicle
	return jobHead{
		Job: b.ID, Name: views.Word(b.Name), Complaint: views.Word(b.Complaint), Opened: views.Stamp(b.Opened),
		Vehicle: vehicleObject{VIN: views.Word(v.VIN), Name: views.Word(v.Name), Layout: views.Word(v.Layout), Map: views.Word(v.Map)},
		Intakes: b.Intakes, Drives: b.Drives, Bench: b.Bench, Notes: b.Notes, Last: views.Stamp(b.Last),
	}
}

func newJobObject(p *jobPage) jobObject {
	o := jobObject{Kind: "job", jobHead: newJobHead(&p.job), Intakes: []intakeObject{}, Drives: []driveObject{}, Notes: []noteObject{}, Judged: p.judged}
	for i := range p.intakes {
		o.Intakes = append(o.Intakes, intakeObject{Time: views.Stamp(p.intakes[i].At), Codes: report.CodesObject(p.intakes[i].Codes)})
	}
	for i := range p.drives {
		d := &p.drives[i]
		o.Drives = append(o.Drives, driveObject{
			Drive: d.ID, Name: views.Word(d.Name), State: d.State, Start: views.Stamp(d.Started), End: views.Stamp(d.Ended),
			Sentence: views.Word(p.sentences[d.ID]), Samples: d.Samples, Exchanges: d.Exchanges, Lost: d.Lost,
		})
	}
	for _, n := range p.notes {
		o.Notes = append(o.Notes, noteObject{Time: views.Stamp(n.At), Text: n.Text})
	}
	return o
}
