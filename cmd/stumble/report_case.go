package main

import (
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/views/report"
)

// reported gathers the case of a job; 0 is the newest.
func (a *app) reported(j *journal.Journal, number int64) (*report.Case, error) {
	file, err := job.Open(j, number, job.Options{Progress: newProgress(a.clock, a.err).at})
	if err != nil {
		return nil, err
	}
	r, err := file.Report(a.ctx)
	if err != nil {
		return nil, err
	}
	c := reportCase(r)
	c.Made = a.clock.Now().Local()
	return c, nil
}

// reportCase is what was gathered of a job as the report has it.
func reportCase(r *job.Report) *report.Case {
	b := &r.Case.Job
	c := &report.Case{
		Job:    report.Job{Number: b.ID, Name: b.Name, Complaint: b.Complaint, Opened: b.Opened.Local(), VIN: b.Vehicle.VIN, Vehicle: b.Vehicle.Name},
		Before: visit(r.Before), After: visit(r.After), Proof: reportProof(r), Causes: r.Causes.Result, CausesAlso: alsoKnown(r.Causes), Progress: r.Progress, Readiness: r.Readiness,
	}
	for i := range r.Drives {
		c.Drives = append(c.Drives, reportDrive(&r.Drives[i]))
	}
	for _, n := range r.Case.Notes {
		kind := map[journal.NoteKind]report.NoteKind{journal.NoteRepaired: report.NoteRepaired, journal.NoteSwapped: report.NoteSwapped}[n.Kind]
		c.Notes = append(c.Notes, report.Note{At: n.At.Local(), Text: n.Text, Kind: kind, Part: n.Part, Cylinder: n.Cylinder, Other: n.Other})
	}
	for i, judged := range r.Bench {
		c.Bench = append(c.Bench, report.BenchReading{At: r.Case.Bench[i].At.Local(), Judged: judged})
	}
	return c
}

// reportDrive is a counted drive as the report has it.
func reportDrive(d *job.ReportDrive) report.Drive {
	s := &d.Stored
	out := report.Drive{
		Number: s.ID, Name: s.Name, Side: report.Side(d.Side), Adapter: s.Adapter, Protocol: s.Protocol.String(), Summary: d.Summary, Moments: d.Moments,
		Exchanges: s.Exchanges, Lost: s.Lost, CutOff: s.State == journal.DriveInterrupted,
	}
	for _, m := range d.Marks {
		if m.Kind == journal.MarkGap {
			out.Gaps = append(out.Gaps, report.Gap{From: m.At, To: m.Until, Text: m.Gap.Error()})
			continue
		}
		out.Marks = append(out.Marks, report.Mark{At: m.At, Gear: m.Gear, Text: m.Text})
	}
	return out
}

// reportProof is the comparison, or why there is none; nil where there is nothing to compare.
func reportProof(r *job.Report) *report.Proof {
	switch {
	case r.Why != nil:
		return &report.Proof{Why: explain(r.Why)}
	case r.Compared == nil:
		return nil
	}
	return &report.Proof{Chosen: ruleWords(&r.Compared.Choice), Result: r.Compared.Result, Swap: r.Compared.Swap, Between: betweenDrives(r.Compared)}
}

func visit(r *journal.IntakeRecord) report.Visit {
	if r == nil {
		return report.Visit{}
	}
	return report.Visit{At: r.At.Local(), Intake: r.Intake, Codes: r.Codes}
}
