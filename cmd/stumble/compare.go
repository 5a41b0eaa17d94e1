package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/views"
	"stumble/views/report"
)

const compareAbout = `Judge a repair by a drive before it and one after it, like with like: the same gear state, engine speed and load, equally
warm. Few misses in little running prove nothing: it says how many minutes, in which gear, are still missing.

  stumble compare BEFORE AFTER   drives by their numbers; several as 5,6
  stumble compare --job JOB      the last before the repair, and all since

The repair is where the codes were last cleared ('stumble clear'), or a later note or mark that begins with "repair".
Without either it is the first drive of the job against the last.

After parts were exchanged, say which: --swapped coil:5-3 tells whether the fault followed the part. The outcome is proven,
improved, not_yet, still_missing or moved; that of a swap followed, stayed, both, neither or cannot_tell.`

// compareOptions is what compare was asked for.
type compareOptions struct {
	journal journalOption
	engine  engineOptions
	job     int64
	strict  bool
	ceiling float64
	swapped string
	failOn  string
	asJSON  bool
	anew    anewOption
}

func (o *compareOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	o.engine.flags(f)
	f.Int64Var(&o.job, "job", 0, "choose the drives of the job of this `NUMBER`")
	f.BoolVar(&o.strict, "strict", false, "take load as alike within 10 points instead of 20")
	f.Float64Var(&o.ceiling, "ceiling", rate.Ceiling, "up to how many misses per 1,000 firings a cylinder is healthy, a `RATE`")
	f.StringVar(&o.swapped, "swapped", "", "the `PARTS` that were exchanged, as coil:5-3; "+strings.Join(proof.Parts(), ", "))
	f.StringVar(&o.failOn, "fail-on", "", "exit with status 3 at one of these `OUTCOMES`, as still_missing,moved; not_proven is any but proven")
	o.anew.flags(f)
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
}

// compareCommand is the command that judges a repair.
func compareCommand(a *app) *cobra.Command {
	var o compareOptions
	c := &cobra.Command{
		Use:     "compare [BEFORE AFTER]",
		Short:   "judge a repair or a swap by the drives before and after it",
		Long:    compareAbout,
		Example: "stumble compare 3 5 --fail-on not_proven",
		Args:    atMost(2),
		RunE:    func(_ *cobra.Command, args []string) error { return compare(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// compare judges a repair.
func compare(a *app, o *compareOptions, rest []string) error {
	switch {
	case o.engine.wantsList():
		return o.engine.list(a.out)
	case !(o.ceiling > 0 && o.ceiling < 1000):
		return usagef("a --ceiling of %v per 1,000 firings cannot be: give one above 0 and under 1000", o.ceiling)
	}
	c := &comparing{app: a, opts: o}
	c.count, c.abreast = c.side, true
	if err := c.understand(rest); err != nil {
		return err
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		c.journal = j
		return c.run()
	})
}

// comparing is one comparison.
type comparing struct {
	*app
	opts          *compareOptions
	swap          *proof.Swap
	failOn        []string
	journal       *journal.Journal
	before, after []int64 // numbers of drives
	chosen        string  // by which rule they were chosen

	// count counts the drives of one side; see side. With abreast it may be called by two goroutines at once.
	count   func(ids []int64, codes *obd.CodeReport, cfg proof.CycleConfig) (proof.Side, []report.Compared, error)
	abreast bool
}

// understand reads the arguments.
func (c *comparing) understand(words []string) (err error) {
	o := c.opts
	if o.swapped != "" {
		s, err := proof.ParseSwap(o.swapped)
		if err != nil {
			return usageError{err}
		}
		c.swap = &s
	}
	if c.failOn, err = failures(o.failOn, c.swap != nil); err != nil {
		return err
	}
	switch {
	case o.job != 0 && len(words) > 0:
		return usagef("--job chooses the drives by itself: leave it or the numbers of drives out")
	case o.job < 0:
		return usagef("\"%d\" is no number of a job; 'stumble jobs' lists them", o.job)
	case o.job != 0:
		return nil
	case len(words) < 2:
		return usagef("say which drives by their numbers, BEFORE AFTER, or --job; 'stumble jobs show JOB' lists the drives of a job")
	}
	if c.before, err = driveNumbers(words[0]); err != nil {
		return err
	}
	if c.after, err = driveNumbers(words[1]); err != nil {
		return err
	}
	seen := make(map[int64]bool)
	for _, id := range slices.Concat(c.before, c.after) {
		if seen[id] {
			return usagef("drive %d is named twice: a drive cannot be compared with itself", id)
		}
		seen[id] = true
	}
	return nil
}

func driveNumbers(text string) (ids []int64, err error) {
	for word := range strings.SplitSeq(text, ",") {
		id, err := numberOf("drive", word)
		if err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, nil
}

// anyButProven is every outcome that is no proof.
const anyButProven = "not_proven"

// failures reads --fail-on.
func failures(text string, swapped bool) ([]string, error) {
	if text == "" {
		return nil, nil
	}
	known := []string{anyButProven}
	for _, o := range [...]proof.Outcome{proof.Proven, proof.Improved, proof.NotYet, proof.StillMissing, proof.Moved} {
		known = append(known, outcomeWord(o))
	}
	if swapped {
		for _, v := range [...]proof.SwapVerdict{proof.FollowedPart, proof.StayedPut, proof.BothMiss, proof.NeitherMisses, proof.CannotTell} {
			known = append(known, outcomeWord(v))
		}
	}
	words := strings.Split(text, ",")
	for _, word := range words {
		if !slices.Contains(known, word) {
			return nil, usagef("--fail-on knows no %q: give one or more of %s", word, strings.Join(known, ","))
		}
	}
	return words, nil
}

// outcomeWord is an outcome as scripts read it.
func outcomeWord(outcome interface{ MarshalText() ([]byte, error) }) string {
	text, err := outcome.MarshalText()
	if err != nil {
		return err.Error()
	}
	return string(text)
}

func (c *comparing) run() error {
	if c.opts.job != 0 {
		if err := c.choose(); err != nil {
			return err
		}
	}
	shown, err := c.compared()
	if err != nil {
		return err
	}
	if err := c.remember(shown); err != nil {
		return err
	}
	if c.opts.asJSON {
		err = writeJSON(c.out, views.NewComparison(shown))
	} else {
		err = report.WriteComparison(c.out, shown, textWidth)
	}
	if err != nil {
		return err
	}
	return c.verdict(shown)
}

// verdict is an error when the outcome is one that --fail-on names.
func (c *comparing) verdict(shown *report.Comparison) error {
	outcomes := []string{outcomeWord(shown.Result.Outcome)}
	if shown.Result.Outcome != proof.Proven {
		outcomes = append(outcomes, anyButProven)
	}
	if shown.Swap != nil {
		outcomes = append(outcomes, outcomeWord(shown.Swap.Verdict))
	}
	for _, outcome := range outcomes {
		if slices.Contains(c.failOn, outcome) {
			return foundError{fmt.Errorf("the outcome is %s, which --fail-on names", outcome)}
		}
	}
	return nil
}

// choose finds the drives of a job: the last before the repair and all since, or the first and the last.
func (c *comparing) choose() error {
	if _, err := c.journal.Job(c.opts.job); err != nil {
		return err
	}
	drives, err := c.journal.Drives(c.opts.job)
	if err != nil {
		return err
	}
	drives = slices.DeleteFunc(drives, func(d journal.Drive) bool { return d.Samples == 0 })
	if len(drives) < 2 {
		return fmt.Errorf("job %d holds %s: a comparison wants one before and one after the repair; record it with 'stumble watch'", c.opts.job, counted(len(drives), "drive"))
	}
	at, what, err := c.repair(drives)
	if err != nil {
		return err
	}
	if at.IsZero() {
		c.before, c.after = []int64{drives[0].ID}, []int64{drives[len(drives)-1].ID}
		c.chosen = "the first and the last drive: the job knows of no clear and of no note or mark that begins with \"repair\""
		return nil
	}
	for _, d := range drives {
		if d.Started.After(at) {
			c.after = append(c.after, d.ID)
		} else {
			c.before = []int64{d.ID}
		}
	}
	switch {
	case len(c.after) == 0:
		return fmt.Errorf("job %d holds no drive since %s: record one with 'stumble watch'", c.opts.job, what)
	case len(c.before) == 0:
		return fmt.Errorf("job %d holds no drive before %s: name the drives to compare by their numbers", c.opts.job, what)
	}
	c.chosen = "the last drive before " + what + ", and all drives since"
	return nil
}

// repair is when the car was last repaired, as far as the job tells, and what tells it; zero when nothing does.
func (c *comparing) repair(drives []journal.Drive) (at time.Time, what string, err error) {
	if at, err = lastClear(c.journal, c.opts.job); err != nil {
		return at, "", err
	}
	if !at.IsZero() {
		what = "the clear of " + minute(at)
	}
	later := func(t time.Time, text, kind string) {
		if t.After(at) && strings.HasPrefix(strings.ToLower(strings.TrimSpace(text)), "repair") {
			at, what = t, fmt.Sprintf("the %s %q of %s", kind, onOneLine(text), minute(t))
		}
	}
	notes, err := c.journal.Notes(c.opts.job)
	if err != nil {
		return at, "", err
	}
	for _, n := range notes {
		later(n.At, n.Text, "note")
	}
	for _, d := range drives {
		marks, err := c.journal.Marks(d.ID)
		if err != nil {
			return at, "", err
		}
		for _, m := range marks {
			later(m.At, m.Text, "mark")
		}
	}
	return at, what, nil
}

// compared counts both sides and judges them.
func (c *comparing) compared() (*report.Comparison, error) {
	first, err := c.journal.Drive(c.before[0])
	if err != nil {
		return nil, err
	}
	for _, id := range slices.Concat(c.before, c.after)[1:] {
		d, err := c.journal.Drive(id)
		if err != nil {
			return nil, err
		}
		if d.Vehicle.ID != first.Vehicle.ID {
			return nil, fmt.Errorf("drive %d is of %s, drive %d of %s: choose drives of one car", first.ID, onOneLine(nameOfVehicle(first.Vehicle)), id, onOneLine(nameOfVehicle(d.Vehicle)))
		}
	}
	afterFirst, err := c.journal.Drive(c.after[0])
	if err != nil {
		return nil, err
	}
	shown := &report.Comparison{Chosen: c.chosen}
	read, err := c.codes(first, afterFirst)
	if err != nil {
		return nil, err
	}
	cycles := c.cycleConfig(read)
	in := proof.Input{Strict: c.opts.strict, Ceiling: c.opts.ceiling}
	if read.before != nil {
		shown.Codes.Before, in.Before.Codes = read.before.At.Local(), read.before.Codes
	}
	if read.after != nil {
		shown.Codes.After, in.After.Codes = read.after.At.Local(), read.after.Codes
	}
	if err := c.sides(&in, shown, cycles); err != nil {
		return nil, err
	}
	if shown.Result, err = proof.Compare(in); err != nil {
		return nil, err
	}
	if c.swap != nil {
		if shown.Swap, err = proof.CompareSwap(in, *c.swap); err != nil {
			return nil, err
		}
	}
	shown.Readiness, shown.Rules = read.readiness, in.After.Cycles.Rules()
	shown.Causes, err = c.causes(shown, &first)
	return shown, err
}

// sides counts the drives of both sides, each in a goroutine of its own where that is safe.
func (c *comparing) sides(in *proof.Input, shown *report.Comparison, cycles proof.CycleConfig) error {
	var failed [2]error
	before := func() { in.Before, shown.Before, failed[0] = c.count(c.before, in.Before.Codes, cycles) }
	after := func() { in.After, shown.After, failed[1] = c.count(c.after, in.After.Codes, cycles) }
	if !c.abreast {
		before()
		after()
		return cmp.Or(failed[0], failed[1])
	}
	var both sync.WaitGroup
	both.Go(before)
	both.Go(after)
	both.Wait()
	return cmp.Or(failed[0], failed[1])
}

// cycleConfig is what the car's own cycles are held against: where the fault was first seen.
func (c *comparing) cycleConfig(read codesRead) proof.CycleConfig {
	cfg := proof.CycleConfig{Strict: c.opts.strict}
	if read.before != nil {
		cfg.Similar = misfirePoints(read.before.Codes)
	}
	return cfg
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

// side counts drives anew, in the way that playback does, and follows their driving cycles.
func (c *comparing) side(ids []int64, codes *obd.CodeReport, cfg proof.CycleConfig) (proof.Side, []report.Compared, error) {
	out := proof.Side{Codes: codes}
	var shown []report.Compared
	var cycles *proof.Cycles
	for _, id := range ids {
		p, err := c.player(c.journal, id, &playbackOptions{watchOptions: watchOptions{engine: c.opts.engine}, pace: speed{most: true}, anew: c.opts.anew})
		if err != nil {
			return out, nil, err
		}
		if cycles == nil {
			cfg.Cylinders = p.cfg.Engine.Cylinders
			cycles = proof.NewCycles(cfg)
		}
		summary, err := p.counted(c.ctx, cycles.Add)
		if err != nil {
			return out, nil, err
		}
		cycles.EndDrive()
		out.VIN = p.vin
		out.Drives = append(out.Drives, summary)
		shown = append(shown, report.Compared{Drive: id, Summary: summary, Heard: p.heard})
	}
	progress := cycles.Progress()
	out.Cycles = &progress
	return out, shown, nil
}

// counted plays the whole drive for its numbers alone. heed is given each sample.
func (p *player) counted(ctx context.Context, heed func(*obd.Sample)) (*misfire.Summary, error) {
	p.alone = true
	state, err := p.ended(ctx, heed)
	if err != nil {
		return nil, err
	}
	return state.Summary, nil
}

// ended plays the whole drive and gives its last state. heed is given each sample; it may be nil.
func (p *player) ended(ctx context.Context, heed func(*obd.Sample)) (*views.State, error) {
	if heed != nil {
		play := p.samples
		p.samples = func(ctx context.Context, take func(*obd.Sample) error) error {
			return play(ctx, func(s *obd.Sample) error {
				heed(s)
				return take(s)
			})
		}
	}
	const never = 1000 * time.Hour
	if err := p.run(ctx, never, func(*views.State) error { return nil }); err != nil {
		return nil, err
	}
	return p.finish(), nil
}

// codesRead is what was read of the codes at either time; nil where nothing was.
type codesRead struct {
	before, after *journal.IntakeRecord
	readiness     *proof.Readiness // after
}

// codes finds the intake of the car as it was before the repair, and the newest reading since the repaired car was
// first driven.
func (c *comparing) codes(before, after journal.Drive) (read codesRead, err error) {
	records, err := c.journal.Intakes(before.Job)
	if err != nil {
		return read, err
	}
	read.before = intakeBefore(records, before, after)
	if after.Job != before.Job {
		if records, err = c.journal.Intakes(after.Job); err != nil {
			return read, err
		}
	}
	for i := range records {
		r := &records[i]
		if r.At.Before(after.Started) || read.before != nil && r.ID == read.before.ID {
			continue
		}
		read.after = r
		if r.Intake != nil {
			read.readiness = readinessOf(r.Intake)
		}
	}
	return read, nil
}

// intakeBefore is the newest intake from before the first drive; else the first that is of its time or older than the
// drive after.
func intakeBefore(records []journal.IntakeRecord, before, after journal.Drive) (found *journal.IntakeRecord) {
	for i := range records {
		r := &records[i]
		switch {
		case r.Intake == nil:
		case !r.At.After(before.Started):
			found = r
		case found == nil && (!r.At.After(before.Ended) || r.At.Before(after.Started)):
			found = r
		}
	}
	return found
}

// readinessOf judges the monitors of all modules; nil when none told them.
func readinessOf(in *obd.Intake) *proof.Readiness {
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
