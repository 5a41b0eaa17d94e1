package wire

import (
	"stumble/misfire/cause"
	"stumble/misfire/job"
	"stumble/misfire/journal"
)

// Jobs is the list of jobs: {"kind":"jobs",...}.
type Jobs struct {
	Kind string    `json:"kind"`
	Jobs []JobHead `json:"jobs"`
}

// JobHead is a job without what is under it.
type JobHead struct {
	Job       int64      `json:"job"`
	Name      Word       `json:"name"`
	Complaint Word       `json:"complaint"`
	Opened    Stamp      `json:"opened"`
	Vehicle   JobVehicle `json:"vehicle"`
	Intakes   int        `json:"intake_count"`
	Drives    int        `json:"drive_count"`
	Bench     int        `json:"bench_count"`
	Notes     int        `json:"note_count"`
	Last      Stamp      `json:"last_drive"` // end of its last drive
}

// JobVehicle is the vehicle of a job, and how its cylinders are told apart.
type JobVehicle struct {
	VIN    Word `json:"vin"`
	Name   Word `json:"name"`
	Layout Word `json:"layout"`
	Map    Word `json:"map"`
}

// Job is a job with what is under it: {"kind":"job",...}.
type Job struct {
	Kind string `json:"kind"`
	JobHead
	Intakes []JobIntake    `json:"intakes"`
	Drives  []JobDrive     `json:"drives"`
	Notes   []JobNote      `json:"notes"`
	Judged  *JobComparison `json:"last_comparison"`
	Told    []JobSymptom   `json:"symptoms"` // that the driver reports
	Closed  *JobClosing    `json:"closed"`   // what was behind it; null while the job is open
}

// JobSymptom is what the driver reports.
type JobSymptom struct {
	Time     Stamp           `json:"time"`
	Text     string          `json:"text"`
	Symptoms []cause.Symptom `json:"symptoms"` // that were understood
}

// JobClosing is what was behind the misfire of a job.
type JobClosing struct {
	Time     Stamp  `json:"time"`
	Cause    string `json:"cause"`
	Cylinder int    `json:"cylinder"` // 0: of none
	Proven   bool   `json:"proven"`
}

// JobComparison is what a comparison came to when it was last made.
type JobComparison struct {
	Time     Stamp  `json:"time"`
	Outcome  string `json:"outcome"`
	Sentence string `json:"sentence"`
}

// JobIntake is what was read of the car under a job, in short.
type JobIntake struct {
	Time  Stamp `json:"time"`
	Codes Codes `json:"codes"`
}

// JobDrive is a drive under a job, in short.
type JobDrive struct {
	Drive     int64              `json:"drive"`
	Name      Word               `json:"name"`
	State     journal.DriveState `json:"state"` // "recording", "finished", "interrupted"
	Start     Stamp              `json:"start"`
	End       Stamp              `json:"end"`
	Sentence  Word               `json:"sentence"`
	Samples   int                `json:"samples"`
	Exchanges int                `json:"exchanges"`
	Lost      int                `json:"lost"` // samples and exchanges that could not be saved
}

// JobNote is a note of a job, or what was done to the car.
type JobNote struct {
	Note     int64  `json:"note"` // its number
	Time     Stamp  `json:"time"` // of a repair or a swap, when it was done
	Text     string `json:"text"`
	About    Word   `json:"about"` // "repaired", "swapped"; null: a note
	Part     Word   `json:"part"`
	Cylinder int    `json:"cylinder"` // 0: not told
	Other    int    `json:"other"`    // of a swap, the other cylinder
	Written  Stamp  `json:"written"`
	Until    Stamp  `json:"until"` // when it was changed or taken back; null while it holds
}

// NoteHistory is every version of the notes of a job: {"kind":"note_history",...}.
type NoteHistory struct {
	Kind  string    `json:"kind"`
	Job   int64     `json:"job"`
	Notes []JobNote `json:"notes"`
}

// NewNoteHistory is every version of notes as an object.
func NewNoteHistory(id int64, all []journal.Note) NoteHistory {
	return NoteHistory{Kind: "note_history", Job: id, Notes: each(all, jobNote)}
}

func jobNote(n *journal.Note) JobNote {
	return JobNote{
		Note: n.ID, Time: Stamp(n.At), Text: n.Text, About: Word(n.Kind), Part: Word(n.Part), Cylinder: n.Cylinder, Other: n.Other,
		Written: Stamp(n.Written), Until: Stamp(n.Until),
	}
}

// NewJobs is a list of jobs as an object.
func NewJobs(all []journal.Job) Jobs { return Jobs{Kind: "jobs", Jobs: each(all, newJobHead)} }

func newJobHead(b *journal.Job) JobHead {
	v := b.Vehicle
	return JobHead{
		Job: b.ID, Name: Word(b.Name), Complaint: Word(b.Complaint), Opened: Stamp(b.Opened),
		Vehicle: JobVehicle{VIN: Word(v.VIN), Name: Word(v.Name), Layout: Word(v.Layout), Map: Word(v.Map)},
		Intakes: b.Intakes, Drives: b.Drives, Bench: b.Bench, Notes: b.Notes, Last: Stamp(b.Last),
	}
}

// NewJob is a job as an object.
func NewJob(p *job.Page) Job {
	return Job{
		Kind: "job", JobHead: newJobHead(&p.Job), Judged: comparisonOf(p.Judged),
		Intakes: each(p.Intakes, func(i *journal.IntakeRecord) JobIntake { return JobIntake{Stamp(i.At), NewCodes(i.Codes)} }),
		Drives: each(p.Drives, func(d *journal.Drive) JobDrive {
			return JobDrive{
				Drive: d.ID, Name: Word(d.Name), State: d.State, Start: Stamp(d.Started), End: Stamp(d.Ended),
				Sentence: Word(p.Sentences[d.ID]), Samples: d.Samples, Exchanges: d.Exchanges, Lost: d.Lost,
			}
		}),
		Notes: each(p.Notes, jobNote),
		Told: each(p.Reported, func(r *job.Reported) JobSymptom {
			return JobSymptom{Stamp(r.At), r.Text, list(r.Symptoms)}
		}),
		Closed: closingOf(p.Closed),
	}
}

func closingOf(c *job.Closing) *JobClosing {
	if c == nil {
		return nil
	}
	return &JobClosing{Stamp(c.At), c.Cause, c.Cylinder, c.Proven}
}

func comparisonOf(k *job.Kept) *JobComparison {
	if k == nil {
		return nil
	}
	return &JobComparison{Time: Stamp(k.At), Outcome: k.Outcome, Sentence: k.Sentence}
}
