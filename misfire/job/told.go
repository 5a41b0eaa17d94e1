package job

import (
	"cmp"
	"encoding/json"
	"fmt"
	"time"

	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/misfire/journal"
)

// Kinds of verdicts of a job that people tell.
const (
	verdictSymptom = "symptom"
	verdictClosed  = "closed"
)

// Reported is what the driver or owner reports of a car.
type Reported struct {
	At       time.Time       `json:"-"`
	Text     string          `json:"text"`
	Symptoms []cause.Symptom `json:"symptoms"` // that the book knows; none where the text tells of none
}

// TakeSymptom keeps what the driver or owner reports under a job, and returns the symptoms that were understood. The error is
// the journal's.
func TakeSymptom(j *journal.Journal, id int64, at time.Time, text string) ([]cause.Symptom, error) {
	r := Reported{Text: text, Symptoms: cause.StandardBook().HearSymptoms(text)}
	return r.Symptoms, tell(j, id, verdictSymptom, at, r)
}

// tell keeps something told or found of a job, as JSON.
func tell(j *journal.Journal, id int64, kind string, at time.Time, what any) error {
	data, err := json.Marshal(what)
	if err != nil {
		return err
	}
	_, err = j.AddVerdict(journal.Verdict{Job: id, At: at, Kind: kind, Data: data})
	return err
}

// reportOf is the report that a verdict is of, if it is one.
func reportOf(v *journal.Verdict) (r Reported, is bool) {
	is = v.Kind == verdictSymptom && json.Unmarshal(v.Data, &r) == nil
	r.At = v.At
	return r, is
}

// told are the symptoms reported of the job, each once.
func (c *Case) told() (all []cause.Symptom) {
	seen := make(map[cause.Symptom]bool)
	for i := range c.Verdicts {
		r, _ := reportOf(&c.Verdicts[i])
		for _, s := range r.Symptoms {
			if !seen[s] {
				all = append(all, s)
			}
			seen[s] = true
		}
	}
	return all
}

// Closing is what was behind the misfire of a job, as its technician closed it.
type Closing struct {
	At       time.Time `json:"-"`
	Cause    string    `json:"cause"`              // as causes.csv of package cause names it
	Cylinder int       `json:"cylinder,omitempty"` // 0: of none
	Proven   bool      `json:"proven"`             // the last comparison of the job proved the repair
}

// UnknownCauseError says that no cause is called so.
type UnknownCauseError struct {
	Cause string
	Known []string
}

func (e UnknownCauseError) Error() string { return fmt.Sprintf("no cause is called %q", e.Cause) }

// NoSuchCylinderError says that the engine of a job has no cylinder of that number.
type NoSuchCylinderError struct{ Cylinder, Of int }

func (e NoSuchCylinderError) Error() string {
	return fmt.Sprintf("there is no cylinder %d: the engine has %d", e.Cylinder, e.Of)
}

// Close keeps what was behind the misfire of a job. The error may be an UnknownCauseError, a NoSuchCylinderError or the
// journal's.
func Close(j *journal.Journal, id int64, at time.Time, c Closing) (Closing, error) {
	of, err := j.Job(id)
	if err != nil {
		return c, err
	}
	if book := cause.StandardBook(); !book.Has(c.Cause) {
		return c, UnknownCauseError{c.Cause, book.Keys()}
	}
	most, err := Cylinders(j, &of)
	if err != nil {
		return c, err
	}
	most = cmp.Or(most, engine.MaxCylinders)
	if c.Cylinder < 0 || c.Cylinder > most {
		return c, NoSuchCylinderError{c.Cylinder, most}
	}
	verdicts, err := j.Verdicts(id)
	if err != nil {
		return c, err
	}
	last, found := lastKept(verdicts)
	c.Proven = found && last.Outcome == provenOutcome
	return c, tell(j, id, verdictClosed, at, c)
}

// provenOutcome is how a comparison that proved a repair is kept.
const provenOutcome = "proven"

// closingOf is the closing that a verdict is of, if it is one.
func closingOf(v *journal.Verdict) (c Closing, is bool) {
	is = v.Kind == verdictClosed && json.Unmarshal(v.Data, &c) == nil
	c.At = v.At
	return c, is
}

// Lesson is a job whose cause is known.
type Lesson struct {
	Job    int64
	Closed Closing
	First  string // cause that was ranked first when it was last ranked before it was closed; empty where it never was
}

// Lessons are the jobs of a journal that were closed with a cause after the repair was proven, the oldest first. The error
// is the journal's.
func Lessons(j *journal.Journal) (all []Lesson, err error) {
	jobs, err := j.Jobs(journal.JobFilter{})
	if err != nil {
		return nil, err
	}
	for i := len(jobs) - 1; i >= 0; i-- {
		verdicts, err := j.Verdicts(jobs[i].ID)
		if err != nil {
			return nil, err
		}
		if l, closed := lessonOf(jobs[i].ID, verdicts); closed {
			all = append(all, l)
		}
	}
	return all, nil
}

// lessonOf is the lesson of a job by its verdicts; the last closing holds.
func lessonOf(id int64, verdicts []journal.Verdict) (l Lesson, closed bool) {
	first := ""
	for i := range verdicts {
		v := &verdicts[i]
		if v.Kind == verdictCauses {
			var ranked struct{ Ranked []struct{ Cause string } }
			if json.Unmarshal(v.Data, &ranked) == nil && len(ranked.Ranked) > 0 {
				first = ranked.Ranked[0].Cause
			}
		}
		if c, is := closingOf(v); is {
			l, closed = Lesson{id, c, first}, c.Proven
		}
	}
	return l, closed
}

// Learned is what the lessons of a journal come to.
type Learned struct {
	Book  *cause.Book
	Moved []cause.Moved // priors, those that moved most first
	Jobs  int
	Right int // of Ranked, where the cause that was ranked first was the right one
	// Ranked is how many of the jobs were ranked before they were closed.
	Ranked int
}

// Learn lets the lessons of a journal move the priors of the causes. The error is the journal's.
func Learn(j *journal.Journal) (*Learned, error) {
	lessons, err := Lessons(j)
	if err != nil {
		return nil, err
	}
	out, counts := &Learned{Jobs: len(lessons)}, make(map[string]int)
	for _, l := range lessons {
		counts[l.Closed.Cause]++
		if l.First != "" {
			out.Ranked++
		}
		if l.First == l.Closed.Cause {
			out.Right++
		}
	}
	out.Book, out.Moved = cause.StandardBook().Learn(counts)
	return out, nil
}
