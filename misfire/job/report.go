package job

import (
	"context"
	"slices"

	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
)

// Report is all that a report of a job is made from. What is left empty is not known.
type Report struct {
	Case          *Case
	Before, After *journal.IntakeRecord // what was read of the car at either time; nil when nothing was
	Drives        []ReportDrive         // in order of time
	Compared      *Comparison           // nil where nothing can be compared
	Why           error                 // then why not; nil when there is but one drive
	Progress      *proof.Progress       // driving and warm-up cycles since the repair; nil when not followed
	Causes        *Ranking
	Bench         []bench.Judgement // of the Case's Bench, in its order
	Readiness     *proof.Readiness  // of the newest intake; nil when not read
}

// Side is where a drive stands to the repair.
type Side uint8

// The sides.
const (
	NoSide Side = iota // it is not compared
	SideBefore
	SideAfter
)

// ReportDrive is a drive of a report.
type ReportDrive struct {
	*Counted
	Side Side
}

// Report gathers what a report of the job is made from: the comparison that was made last, or the one that Choose
// finds, the causes, and what was measured. Each drive is counted once: for its numbers, its strip and the
// comparison. Where drives are compared only theirs have Moments.
func (c *Case) Report(ctx context.Context) (*Report, error) {
	r := &Report{Case: c}
	chosen, err := r.compare(ctx)
	if err != nil {
		return nil, err
	}
	all, err := c.count(ctx, chosen == nil)
	if err != nil {
		return nil, err
	}
	for _, d := range all {
		r.Drives = append(r.Drives, ReportDrive{d, chosen.side(d.Stored.ID)})
	}
	if chosen == nil {
		r.visits()
	}
	if r.Causes, err = c.Rank(ctx, cause.IgnitionUnknown); err != nil {
		return nil, err
	}
	r.Bench = bench.Judge(Values(c.Bench))
	if in := c.NewestIntake(); in != nil {
		r.Readiness = ReadinessOf(in)
	}
	return r, nil
}

// compare compares the drives that are to be compared, and returns which; nil where none can be.
func (r *Report) compare(ctx context.Context) (*Choice, error) {
	c := r.Case
	if len(c.Drives) < 2 {
		return nil, nil
	}
	chosen, q, err := c.Recall()
	if err != nil {
		r.Why = err
		return nil, nil
	}
	w := comparing{journal: c.journal, opts: c.opts, strip: true, counted: c.counted}
	w.result = Comparison{Choice: chosen, Question: q}
	if err := w.prepare(); err != nil {
		return nil, err
	}
	r.Before, r.After = w.result.Codes.Before, w.result.Codes.After
	if err := w.count(ctx); err != nil {
		return nil, err
	}
	if err := w.judge(); err != nil {
		r.Why = err
		return &chosen, nil
	}
	r.Compared = &w.result
	if r.Compared.Untold() { // one evidence: no drive stands on a side
		r.Before, r.After = nil, nil
		return nil, nil
	}
	r.Progress = w.result.Progress
	return &chosen, nil
}

// visits takes the first and the last reading of the car, where nothing is compared.
func (r *Report) visits() {
	all := r.Case.Intakes
	if len(all) > 0 {
		r.Before = &all[0]
	}
	if len(all) > 1 {
		r.After = &all[len(all)-1]
	}
}

// side is where a drive stands to the repair.
func (c *Choice) side(id int64) Side {
	switch {
	case c == nil:
		return NoSide
	case slices.Contains(c.Before, id):
		return SideBefore
	case slices.Contains(c.After, id):
		return SideAfter
	}
	return NoSide
}
