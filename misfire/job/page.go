package job

import (
	"encoding/json"

	"stumble/misfire/journal"
)

// Page is a job with all that is saved under it but for the drives' own samples.
type Page struct {
	Job       journal.Job
	Intakes   []journal.IntakeRecord
	Drives    []journal.Drive
	Notes     []journal.Note
	Sentences map[int64]string // what was concluded when a drive ended, by drive
	Judged    *Kept            // what the last comparison came to; nil without one
	Reported  []Reported       // by the driver or owner
	Closed    *Closing         // what was behind it; nil while the job is open
}

// ReadPage reads what is saved under a job. The error is the journal's.
func ReadPage(j *journal.Journal, id int64) (p *Page, err error) {
	p = &Page{Sentences: make(map[int64]string)}
	if p.Job, err = j.Job(id); err != nil {
		return nil, err
	}
	if p.Intakes, err = j.Intakes(id); err != nil {
		return nil, err
	}
	if p.Drives, err = j.Drives(id); err != nil {
		return nil, err
	}
	if p.Notes, err = j.Notes(id); err != nil {
		return nil, err
	}
	verdicts, err := j.Verdicts(id)
	for i := range verdicts {
		p.take(&verdicts[i])
	}
	return p, err
}

// take takes what was concluded once. What another version wrote may differ: then it is left out.
func (p *Page) take(v *journal.Verdict) {
	var said struct {
		Verdict struct{ Sentence string }
	}
	if v.Kind == journal.VerdictDrive && json.Unmarshal(v.Data, &said) == nil {
		p.Sentences[v.Drive] = said.Verdict.Sentence
	}
	if c, is := KeptComparison(v); is && c.Outcome != "" {
		p.Judged = &c
	}
	if r, is := reportOf(v); is {
		p.Reported = append(p.Reported, r)
	}
	if c, is := closingOf(v); is {
		p.Closed = &c
	}
}
