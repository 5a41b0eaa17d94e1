package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/misfire/bench"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/views/report"
)

// reporter gathers what a report is made from. The drives are counted once: for their numbers, their strips and the
// comparison.
type reporter struct {
	*app
	journal   *journal.Journal
	job       int64
	progress  *progress
	comparing *comparing // nil when nothing can be compared
	why       string     // then why not; empty when there is but one drive
	read      codesRead
	cycles    proof.CycleConfig
	kept      map[int64]*keptDrive
	before    *proof.Cycles // what each side is followed by; nil until its first drive
	after     *proof.Cycles
}

// keptDrive is what is kept of a drive while it is counted.
type keptDrive struct {
	player  *player
	shown   bool // the report has a section of it
	summary *misfire.Summary
	moments []misfire.Moment
	due     time.Time // when the strip is taken next
}

func (a *app) newReporter(j *journal.Journal, job int64) *reporter {
	return &reporter{app: a, journal: j, job: job, progress: newProgress(a.clock, a.err), kept: make(map[int64]*keptDrive)}
}

// gather makes the case of the job.
func (r *reporter) gather() (*report.Case, error) {
	if err := r.choose(); err != nil {
		return nil, err
	}
	file, err := r.caseFile(r.journal, r.job, &engineOptions{}, r.heed)
	if err != nil {
		return nil, err
	}
	r.job = file.Job.ID
	c := &report.Case{Made: r.clock.Now().Local(), Job: reportJob(&file.Job)}
	for i := range file.Drives {
		c.Drives = append(c.Drives, r.drive(&file.Drives[i]))
	}
	for _, n := range file.Notes {
		c.Notes = append(c.Notes, report.Note{At: n.At.Local(), Text: n.Text})
	}
	r.prove(c)
	r.visits(c, file)
	if err := r.explain(c, file); err != nil {
		return nil, err
	}
	if in := file.newestIntake(); in != nil {
		c.Readiness = readinessOf(in)
	}
	return c, nil
}

func reportJob(b *journal.Job) report.Job {
	return report.Job{Number: b.ID, Name: b.Name, Complaint: b.Complaint, Opened: b.Opened.Local(), VIN: b.Vehicle.VIN, Vehicle: b.Vehicle.Name}
}

// choose finds out which drives are to be compared, before any is counted.
func (r *reporter) choose() error {
	if r.job == 0 {
		job, err := newestJob(r.journal)
		if err != nil {
			return err
		}
		r.job = job
	}
	if _, err := r.journal.Job(r.job); err != nil {
		return err
	}
	drives, err := r.journal.Drives(r.job)
	if err != nil {
		return err
	}
	if len(slices.DeleteFunc(slices.Clone(drives), func(d journal.Drive) bool { return d.Samples == 0 })) < 2 {
		return nil
	}
	c := &comparing{app: r.app, opts: &compareOptions{job: r.job, ceiling: rate.Ceiling}, journal: r.journal, count: r.side}
	verdicts, err := r.journal.Verdicts(r.job)
	if err != nil {
		return err
	}
	if last, found := lastChoice(verdicts); found {
		err = c.recall(last, drives)
	} else {
		err = c.choose()
	}
	if err != nil {
		r.why = explain(err)
		return nil
	}
	r.comparing = c
	first, err := r.journal.Drive(c.before[0])
	if err != nil {
		return err
	}
	afterFirst, err := r.journal.Drive(c.after[0])
	if err != nil {
		return err
	}
	r.read, err = c.codes(first, afterFirst)
	r.cycles = c.cycleConfig(r.read)
	return err
}

// sideOf is where a drive stands to the repair.
func (r *reporter) sideOf(id int64) report.Side {
	switch {
	case r.comparing == nil:
		return report.SideNone
	case slices.Contains(r.comparing.before, id):
		return report.SideBefore
	case slices.Contains(r.comparing.after, id):
		return report.SideAfter
	}
	return report.SideNone
}

// heed follows a drive while it is counted: its strip second by second, where the report shows it, and the car's own
// cycles on its side of the repair.
func (r *reporter) heed(p *player) func(*obd.Sample) {
	side := r.sideOf(p.stored.ID)
	kept := &keptDrive{player: p, shown: r.comparing == nil || side != report.SideNone}
	r.kept[p.stored.ID] = kept
	cycles := r.follow(side, p)
	return func(s *obd.Sample) {
		r.progress.at(&p.stored, s.Received)
		if cycles != nil {
			cycles.Add(s)
		}
		if kept.shown {
			kept.take(s.Received)
		}
	}
}

// follow gives the cycles of a side. Between two drives the engine was shut off, though no sample shows it.
func (r *reporter) follow(side report.Side, p *player) *proof.Cycles {
	var cycles **proof.Cycles
	switch side {
	case report.SideBefore:
		cycles = &r.before
	case report.SideAfter:
		cycles = &r.after
	default:
		return nil
	}
	if *cycles == nil {
		cfg := r.cycles
		cfg.Cylinders = p.cfg.Engine.Cylinders
		*cycles = proof.NewCycles(cfg)
	}
	(*cycles).EndDrive()
	return *cycles
}

// stripEvery is how often the strip is taken: well within the quarter of an hour that a tally keeps of it.
const stripEvery = 5 * time.Minute

// take adds the newest moments of the drive to those kept.
func (k *keptDrive) take(now time.Time) {
	if now.Before(k.due) {
		return
	}
	k.moments = joinMoments(k.moments, k.player.tally.Strip(nil))
	k.due = now.Add(stripEvery)
}

// joinMoments goes on with the newer moments where they begin: what overlaps may have been added to since.
func joinMoments(older, newer []misfire.Moment) []misfire.Moment {
	if len(newer) == 0 {
		return older
	}
	at, _ := slices.BinarySearchFunc(older, newer[0].At, func(m misfire.Moment, t time.Time) int { return m.At.Compare(t) })
	return append(older[:at], newer...)
}

// drive is a counted drive as the report has it.
func (r *reporter) drive(d *caseDrive) report.Drive {
	kept := r.kept[d.Stored.ID]
	kept.summary = d.Summary()
	out := report.Drive{
		Number: d.Stored.ID, Name: d.Stored.Name, Side: r.sideOf(d.Stored.ID), Adapter: d.Stored.Adapter, Protocol: d.Stored.Protocol.String(),
		Summary: kept.summary, Exchanges: d.Stored.Exchanges, Lost: d.Stored.Lost, CutOff: d.Stored.State == journal.DriveInterrupted,
	}
	if kept.shown {
		out.Moments = joinMoments(kept.moments, d.State.Strip)
	}
	stored := make(map[time.Time]bool)
	for _, m := range d.Marks {
		if m.Kind == journal.MarkGap {
			stored[m.At.Local()] = true
			out.Gaps = append(out.Gaps, report.Gap{From: m.At.Local(), To: m.Until.Local(), Text: m.Text})
			continue
		}
		out.Marks = append(out.Marks, report.Mark{At: m.At.Local(), Gear: m.Gear, Text: m.Text})
	}
	for _, n := range d.State.Notes { // what could not be read just now is marked by the player alone
		if text, gap := strings.CutPrefix(n.Text, missingHere); gap && !stored[n.At] {
			out.Gaps = append(out.Gaps, report.Gap{From: n.At, To: n.At, Text: text})
		}
	}
	return out
}

// side gives the drives that were counted, to the comparison.
func (r *reporter) side(ids []int64, codes *obd.CodeReport, _ proof.CycleConfig) (proof.Side, []report.Compared, error) {
	out := proof.Side{Codes: codes}
	var shown []report.Compared
	cycles := r.before
	if r.sideOf(ids[0]) == report.SideAfter {
		cycles = r.after
	}
	for _, id := range ids {
		kept := r.kept[id]
		if kept == nil {
			return out, nil, fmt.Errorf("drive %d is no longer there: make the report again", id)
		}
		out.VIN = kept.player.vin
		out.Drives = append(out.Drives, kept.summary)
		shown = append(shown, report.Compared{Drive: id, Summary: kept.summary})
	}
	cycles.EndDrive()
	progress := cycles.Progress()
	out.Cycles = &progress
	return out, shown, nil
}

// prove compares the drives that were chosen.
func (r *reporter) prove(c *report.Case) {
	if r.comparing == nil {
		if r.why != "" {
			c.Proof = &report.Proof{Why: r.why}
		}
		return
	}
	shown, err := r.comparing.compared()
	if err != nil {
		c.Proof = &report.Proof{Why: explain(err)}
		return
	}
	c.Proof = &report.Proof{Chosen: shown.Chosen, Result: shown.Result, Swap: shown.Swap}
	progress := r.after.Progress()
	c.Progress = &progress
}

// explain ranks the causes and judges what was measured by hand, as causes and bench do.
func (r *reporter) explain(c *report.Case, file *caseFile) error {
	players := make(map[int64]*player, len(r.kept))
	for id, kept := range r.kept {
		players[id] = kept.player
	}
	ranked, err := (&explaining{app: r.app, journal: r.journal, opts: &causesOptions{}, file: file, players: players}).ranked()
	if err != nil {
		return err
	}
	c.Causes = ranked.Result
	stored := restoredAll(file.Bench)
	for i, judged := range bench.Judge(readingsOf(stored)) {
		c.Bench = append(c.Bench, report.BenchReading{At: stored[i].at.Local(), Judged: judged})
	}
	return nil
}

// visits are the readings of the car before and after: those that were compared, else the first and the last.
func (r *reporter) visits(c *report.Case, file *caseFile) {
	before, after := r.read.before, r.read.after
	if r.comparing == nil && len(file.Intakes) > 0 {
		before = &file.Intakes[0]
		if last := len(file.Intakes) - 1; last > 0 {
			after = &file.Intakes[last]
		}
	}
	c.Before, c.After = visit(before), visit(after)
}

func visit(r *journal.IntakeRecord) report.Visit {
	if r == nil {
		return report.Visit{}
	}
	return report.Visit{At: r.At.Local(), Intake: r.Intake, Codes: r.Codes}
}
