package job

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sync"

	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Comparison is drives before a repair held against drives after it.
type Comparison struct {
	Choice        Choice
	Question      Question
	Before, After []*Counted
	Codes         CodesRead
	Readiness     *proof.Readiness // after; nil when not read
	Result        *proof.Comparison
	Swap          *proof.SwapResult // nil when no part was exchanged
	Progress      *proof.Progress   // driving and warm-up cycles since the repair
	Causes        *cause.Result     // what may be behind it where it misses still; else nil

	input proof.Input // what Result was judged by
}

// CodesRead is what was read of the trouble codes at either time; nil where nothing was.
type CodesRead struct{ Before, After *journal.IntakeRecord }

func (q *Question) ceiling() float64 { return cmp.Or(q.Ceiling, rate.Ceiling) }

// Compare counts the drives that Choose finds and judges them.
func (c *Case) Compare(ctx context.Context, q Question) (*Comparison, error) {
	chosen, q, err := c.chosen(q)
	if err != nil {
		return nil, err
	}
	w := comparing{journal: c.journal, opts: c.opts, counted: c.counted}
	w.result = Comparison{Choice: chosen, Question: q}
	return w.run(ctx)
}

// Compare counts drives of one car, of whatever jobs, and judges them.
func Compare(ctx context.Context, j *journal.Journal, chosen Choice, q Question, opts Options) (*Comparison, error) {
	if err := chosen.learn(j, &q); err != nil {
		return nil, err
	}
	w := comparing{journal: j, opts: opts, counted: make(map[int64]*Counted)}
	w.result = Comparison{Choice: chosen, Question: q}
	return w.run(ctx)
}

// learn finds what was done between drives that the user named, where they are of one job: a swap is asked how it came
// out.
func (c *Choice) learn(j *journal.Journal, q *Question) error {
	first, err := j.Drive(c.Before[0])
	if err != nil {
		return err
	}
	file, err := Open(j, first.Job, Options{})
	if err != nil {
		return err
	}
	if slices.ContainsFunc(slices.Concat(c.Before, c.After), func(id int64) bool { return file.index(id) < 0 }) {
		return nil
	}
	c.Deed, err = file.between(c.Before, c.After)
	if swap, is := c.Deed.swap(); is && q.Swap == nil {
		q.Swap = &swap
	}
	return err
}

// comparing is one comparison while it is made.
type comparing struct {
	journal *journal.Journal
	opts    Options
	strip   bool // the strips of the drives are wanted, too
	mu      sync.Mutex
	counted map[int64]*Counted // guarded by mu while both sides are counted

	first  journal.Drive // the first before
	cycles proof.CycleConfig
	in     proof.Input
	result Comparison
}

func (w *comparing) run(ctx context.Context) (*Comparison, error) {
	if err := w.prepare(); err != nil {
		return nil, err
	}
	if err := w.count(ctx); err != nil {
		return nil, err
	}
	if err := w.judge(); err != nil {
		return nil, err
	}
	return &w.result, nil
}

// prepare finds out what was read of the codes at either time, and where the fault was first seen: the car's own cycles
// are held against that. Drives of several cars are refused.
func (w *comparing) prepare() (err error) {
	r := &w.result
	for i, id := range slices.Concat(r.Choice.Before, r.Choice.After) {
		d, err := w.journal.Drive(id)
		switch {
		case err != nil:
			return err
		case i == 0:
			w.first = d
		case d.Vehicle.ID != w.first.Vehicle.ID:
			return fmt.Errorf("drive %d is of %s, drive %d of %s: choose drives of one car",
				w.first.ID, Printable(VehicleName(w.first.Vehicle)), id, Printable(VehicleName(d.Vehicle)))
		}
	}
	after, err := w.journal.Drive(r.Choice.After[0])
	if err != nil {
		return err
	}
	if r.Codes, err = codesRead(w.journal, &w.first, &after); err != nil {
		return err
	}
	w.cycles = proof.CycleConfig{Strict: r.Question.Strict}
	w.in = proof.Input{Strict: r.Question.Strict, Ceiling: r.Question.ceiling()}
	if in := r.Codes.Before; in != nil {
		w.in.Before.Codes, w.cycles.Similar = in.Codes, misfirePoints(in.Codes)
	}
	if in := r.Codes.After; in != nil {
		w.in.After.Codes = in.Codes
	}
	return nil
}

// codesRead finds the intake of the car as it was before the repair, and the newest reading since the repaired car was
// first driven.
func codesRead(j *journal.Journal, before, after *journal.Drive) (read CodesRead, err error) {
	records, err := j.Intakes(before.Job)
	if err != nil {
		return read, err
	}
	read.Before = intakeBefore(records, before, after)
	if after.Job != before.Job {
		if records, err = j.Intakes(after.Job); err != nil {
			return read, err
		}
	}
	for i := range records {
		r := &records[i]
		if !r.Order.Before(r.At, after) && (read.Before == nil || r.ID != read.Before.ID) {
			read.After = r
		}
	}
	return read, nil
}

// intakeBefore is the newest intake from before the first drive; else the first that is of its time or older than the
// drive after.
func intakeBefore(records []journal.IntakeRecord, before, after *journal.Drive) (found *journal.IntakeRecord) {
	for i := range records {
		r := &records[i]
		switch {
		case r.Intake == nil:
		case r.Order.Before(r.At, before):
			found = r
		case found == nil && (!r.Order.Known && !r.At.After(before.Ended) || r.Order.Before(r.At, after)):
			found = r
		}
	}
	return found
}

// misfirePoints are where the fault was first seen.
func misfirePoints(r *obd.CodeReport) (points []proof.Point) {
	for _, f := range r.Frames {
		if _, misfire := f.Code.MisfireCylinder(); !misfire {
			continue
		}
		if p, known := proof.FramePoint(f); known {
			points = append(points, p)
		}
	}
	return points
}

// count counts both sides at once.
func (w *comparing) count(ctx context.Context) error {
	var failed [2]error
	var both sync.WaitGroup
	r := &w.result
	both.Go(func() { r.Before, failed[0] = w.side(ctx, r.Choice.Before, &w.in.Before) })
	both.Go(func() { r.After, failed[1] = w.side(ctx, r.Choice.After, &w.in.After) })
	both.Wait()
	return cmp.Or(failed[0], failed[1])
}

// side counts the drives of one side and follows the driving cycles of the car. Between two drives the engine was shut
// off, though no sample shows it.
func (w *comparing) side(ctx context.Context, ids []int64, out *proof.Side) (all []*Counted, err error) {
	var cycles *proof.Cycles
	for _, id := range ids {
		d, err := w.opts.count(ctx, w.journal, id, w.strip, func(d *Drive) func(*obd.Sample) {
			if cycles == nil {
				cfg := w.cycles
				cfg.Cylinders = d.Config.Engine.Cylinders
				cycles = proof.NewCycles(cfg)
			}
			return cycles.Add
		})
		if err != nil {
			return nil, err
		}
		cycles.EndDrive()
		out.VIN = d.Setup.VIN
		out.Drives = append(out.Drives, d.Summary)
		all = append(all, d)
		w.mu.Lock()
		w.counted[id] = d
		w.mu.Unlock()
	}
	progress := cycles.Progress()
	out.Cycles = &progress
	return all, nil
}

// judge judges both sides once they are counted.
func (w *comparing) judge() (err error) {
	r := &w.result
	r.input = w.in
	if r.Result, err = proof.Compare(w.in); err != nil {
		return err
	}
	if r.Question.Swap != nil {
		if r.Swap, err = proof.CompareSwap(w.in, *r.Question.Swap); err != nil {
			return err
		}
	}
	if in := r.Codes.After; in != nil && in.Intake != nil {
		r.Readiness = ReadinessOf(in.Intake)
	}
	if r.Untold() {
		r.nameAsDrivesDo()
	}
	r.Progress = w.in.After.Cycles
	verdicts, err := w.journal.Verdicts(w.first.Job)
	if err == nil {
		r.Causes = r.causes(verdicts)
	}
	return err
}

// nameAsDrivesDo leaves out the cylinders that the drives themselves do not name: where nothing is judged, a comparison is no
// second verdict on them.
func (c *Comparison) nameAsDrivesDo() {
	named := func(drives []*Counted, cylinder int) bool {
		return slices.ContainsFunc(drives, func(d *Counted) bool {
			return slices.Contains(d.Summary.Verdict.Named(), cylinder)
		})
	}
	r := c.Result
	r.Cylinders = slices.DeleteFunc(r.Cylinders, func(cyl proof.Cylinder) bool { return !named(c.Before, cyl.Cylinder) })
	r.Newcomers = slices.DeleteFunc(r.Newcomers, func(n proof.Newcomer) bool { return !named(c.After, n.Cylinder) })
}

// ReadinessOf judges the monitors of all modules; nil when none told them.
func ReadinessOf(in *obd.Intake) *proof.Readiness {
	var monitors []obd.Monitors
	for _, m := range in.Modules {
		if m.Monitors != nil {
			monitors = append(monitors, *m.Monitors)
		}
	}
	if monitors == nil {
		return nil
	}
	r := proof.ReadinessOf(monitors, 0)
	return &r
}
