package main

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire"
	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/views"
	"stumble/views/report"
)

const causesAbout = `Rank what may be behind a job's misfire by all that is known of it: counts by cylinder, gear, load and heat, fuel trims,
codes, freeze frame, swaps and bench readings. Each cause tells what speaks for and against it and what would overturn
it; then comes the test that tells most for its time and money. Never a part before a test.

  stumble causes JOB   without JOB the newest

Drives since the repair, or since parts were exchanged, are left out unless it still misses after the repair. The result
is saved in the job.

CAUTION: ignition voltage can kill; keep clear of hot and turning parts; exhaust gas is poison. Each test names its own
cautions. The maker's manual and local law come first.`

// causesOptions is what causes was asked for.
type causesOptions struct {
	journal  journalOption
	engine   engineOptions
	ignition string
	asJSON   bool
}

func (o *causesOptions) flags(f *pflag.FlagSet) {
	o.journal.flags(f)
	o.engine.flags(f)
	f.StringVar(&o.ignition, "ignition", "", "how the coils are laid out, a `KIND`: each (a coil on every plug), shared (one coil to two plugs) or distributor; else as last told")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
}

// verdictCauses is the kind under which the journal keeps ranked causes.
const verdictCauses = "causes"

// causesCommand is the command that ranks what may be behind a misfire.
func causesCommand(a *app) *cobra.Command {
	var o causesOptions
	c := &cobra.Command{
		Use:     "causes [JOB]",
		Short:   "rank what may be behind it, and name the test that tells most",
		Long:    causesAbout,
		Example: "stumble causes 3 --engine v6-along-142536 --ignition each",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return causes(a, &o, args) },
	}
	o.flags(c.Flags())
	return c
}

// causes ranks what may be behind a misfire.
func causes(a *app, o *causesOptions, rest []string) error {
	if o.engine.wantsList() {
		return o.engine.list(a.out)
	}
	told, err := cause.ParseIgnition(o.ignition)
	if err != nil {
		return usagef("--ignition: %w", err)
	}
	if _, err := o.engine.config(o.engine.known(&journal.Drive{})); err != nil {
		return err
	}
	var job int64
	if len(rest) > 0 {
		if job, err = numberOf("job", rest[0]); err != nil {
			return err
		}
	}
	return a.withJournal(&o.journal, func(j *journal.Journal) error {
		c := &explaining{app: a, journal: j, opts: o, told: told, players: make(map[int64]*player)}
		return c.run(job)
	})
}

// explaining is one run of causes.
type explaining struct {
	*app
	journal *journal.Journal
	opts    *causesOptions
	told    cause.Ignition
	file    *caseFile
	players map[int64]*player // by drive, with what they heard beside the tally
}

func (c *explaining) run(job int64) error {
	shown, err := c.explain(job)
	if err != nil {
		return err
	}
	object := views.NewCauses(shown)
	saved := c.save(&object)
	if c.opts.asJSON {
		return errors.Join(writeJSON(c.out, object), saved)
	}
	return errors.Join(report.WriteCauses(c.out, shown, textWidth), saved)
}

// save keeps the result in the job. A journal that cannot be written is no reason to hold it back.
func (c *explaining) save(object *views.CausesObject) error {
	data, err := json.Marshal(object)
	if err != nil {
		return err
	}
	for _, v := range slices.Backward(c.file.Verdicts) {
		if v.Kind == verdictCauses {
			if bytes.Equal(v.Data, data) {
				return nil // nothing new was found
			}
			break
		}
	}
	if _, err := c.journal.AddVerdict(journal.Verdict{Job: c.file.Job.ID, At: c.clock.Now(), Kind: verdictCauses, Data: data}); err != nil {
		fmt.Fprintf(c.err, "the causes are NOT SAVED in the job: %s\n", explain(err))
	}
	return nil
}

// explain opens the job and ranks its causes.
func (c *explaining) explain(job int64) (*report.Causes, error) {
	var err error
	c.file, err = c.caseFile(c.journal, job, &c.opts.engine, func(p *player) func(*obd.Sample) {
		c.players[p.stored.ID] = p
		return nil
	})
	if err != nil {
		return nil, err
	}
	return c.ranked()
}

// ranked ranks the causes of a job that is open.
func (c *explaining) ranked() (*report.Causes, error) {
	chosen, left, err := c.choose()
	if err != nil {
		return nil, err
	}
	drives := make([]cause.Drive, len(chosen))
	for i, d := range chosen {
		drives[i] = cause.Drive{Summary: d.Summary(), Collector: c.players[d.Stored.ID].heard}
	}
	e := cause.Gather(drives, c.file.newestIntake(), c.ignition())
	c.file.addCodes(&e)
	e.Swaps = c.swaps()
	e.Bench = bench.Judge(readingsOf(restoredAll(c.file.Bench)))
	shown := &report.Causes{Job: c.file.Job.ID, Drives: drivesInWords(chosen), Ignition: e.Ignition, Result: cause.StandardBook().Explain(e)}
	shown.Result.Notes = append(shown.Result.Notes, left...)
	if last, found := lastChoice(c.file.Verdicts); found && last.Sentence != "" {
		shown.Result.Notes = append(shown.Result.Notes, "what 'stumble compare' last found: "+last.Sentence)
	}
	return shown, nil
}

// ignition is what was told now, else last, else with a drive.
func (c *explaining) ignition() cause.Ignition {
	last := lastIgnition(c.file.Verdicts)
	for _, d := range slices.Backward(c.file.Drives) {
		last = cmp.Or(last, c.players[d.Stored.ID].ignition)
	}
	return cmp.Or(c.told, last)
}

// lastIgnition is how the coils are laid out, as it was last told to causes.
func lastIgnition(verdicts []journal.Verdict) cause.Ignition {
	for _, v := range slices.Backward(verdicts) {
		var kept struct{ Ignition string }
		if v.Kind != verdictCauses || json.Unmarshal(v.Data, &kept) != nil {
			continue
		}
		if i, err := cause.ParseIgnition(kept.Ignition); err == nil && i != cause.IgnitionUnknown {
			return i
		}
	}
	return cause.IgnitionUnknown
}

// choose finds the drives that show the fault: those before the repair, or all since when it still misses then; of
// these not the ones after parts were exchanged. left says what was left out.
func (c *explaining) choose() (chosen []caseDrive, left []string, err error) {
	if len(c.file.Drives) == 0 {
		return nil, nil, nil
	}
	stored := make([]journal.Drive, len(c.file.Drives))
	for i := range c.file.Drives {
		stored[i] = c.file.Drives[i].Stored
	}
	at, what, err := (&comparing{app: c.app, opts: &compareOptions{job: c.file.Job.ID}, journal: c.journal}).repair(stored)
	if err != nil {
		return nil, nil, err
	}
	moved := c.moved()
	var before, since []caseDrive
	for _, d := range c.file.Drives {
		switch {
		case slices.Contains(moved, d.Stored.ID):
			left = append(left, fmt.Sprintf("drive %d is left out: parts were exchanged before it", d.Stored.ID))
		case !at.IsZero() && d.Stored.Started.After(at):
			since = append(since, d)
		default:
			before = append(before, d)
		}
	}
	switch {
	case len(since) == 0:
		return before, left, nil
	case len(before) == 0 || slices.ContainsFunc(since, missesStill):
		if len(before) > 0 {
			left = append(left, "only the drives since "+what+" are looked at: it misses still")
		}
		return since, left, nil
	}
	return before, append(left, "the drives since "+what+" are left out: they do not miss; 'stumble compare' judges the repair"), nil
}

// missesStill reports whether a drive accuses a cylinder or the engine.
func missesStill(d caseDrive) bool {
	v := d.Summary().Verdict
	return len(v.Cylinders) > 0 || v.Random
}

// exchanged are the comparisons of the job in which parts were exchanged, the last of each exchange.
func (c *explaining) exchanged() (all []choice) {
	for _, v := range c.file.Verdicts {
		found, is := choiceOf(&v)
		if !is || found.Swapped == "" || len(found.Before) == 0 || len(found.After) == 0 {
			continue
		}
		all = slices.DeleteFunc(all, func(o choice) bool { return o.Swapped == found.Swapped })
		all = append(all, found)
	}
	return all
}

// moved are the drives after an exchange of parts.
func (c *explaining) moved() (ids []int64) {
	for _, x := range c.exchanged() {
		ids = append(ids, x.After...)
	}
	return ids
}

// swaps judges each exchange of parts anew, from the drives as they are counted now. One whose drives are gone, or that
// can tell nothing, is passed over.
func (c *explaining) swaps() (all []proof.SwapResult) {
	for _, x := range c.exchanged() {
		swap, err := proof.ParseSwap(x.Swapped)
		before, complete := c.side(x.Before)
		after, there := c.side(x.After)
		if err != nil || !complete || !there {
			continue
		}
		result, err := proof.CompareSwap(proof.Input{Before: before, After: after, Strict: x.Strict, Ceiling: cmp.Or(x.Ceiling, rate.Ceiling)}, swap)
		if err == nil {
			all = append(all, *result)
		}
	}
	return all
}

// side is some drives of the job, as a comparison takes them; false when not all are there.
func (c *explaining) side(ids []int64) (out proof.Side, complete bool) {
	for _, id := range ids {
		at := slices.IndexFunc(c.file.Drives, func(d caseDrive) bool { return d.Stored.ID == id })
		if at < 0 {
			return out, false
		}
		out.VIN = c.players[id].vin
		out.Drives = append(out.Drives, c.file.Drives[at].Summary())
	}
	return out, true
}

// addCodes adds the code reports that were read by themselves.
func (f *caseFile) addCodes(e *cause.Evidence) {
	for i := range f.Intakes {
		if r := &f.Intakes[i]; r.Intake == nil && r.Codes != nil {
			e.AddCodes(r.Codes)
		}
	}
}

// drivesInWords names the drives behind a result.
func drivesInWords(drives []caseDrive) string {
	var ids []string
	running := time.Duration(0)
	for _, d := range drives {
		ids = append(ids, fmt.Sprint(d.Stored.ID))
		running += d.Summary().Running
	}
	switch len(ids) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("drive %s, engine running %v", ids[0], running.Round(time.Second))
	}
	last := len(ids) - 1
	return fmt.Sprintf("drives %s and %s, engine running %v", strings.Join(ids[:last], ", "), ids[last], running.Round(time.Second))
}

// causes is what may be behind the misfire that the drive shows, by this drive alone.
func (d *drive) causes(s *misfire.Summary) *cause.Result {
	return cause.StandardBook().Explain(cause.Gather([]cause.Drive{{Summary: s, Collector: d.heard}}, nil, d.ignition))
}

// ignition is how the coils of the simulated car are laid out; a real car does not tell.
func (s *session) ignition() cause.Ignition {
	switch {
	case s.target.sim == nil:
		return cause.IgnitionUnknown
	case len(s.target.sim.Car.Vehicle().Coils) == 0:
		return cause.CoilOnPlug
	}
	return cause.SharedCoils
}

// causes is what may be behind what misses still after a repair, or, where parts were exchanged, behind what missed before;
// nil where nothing does.
func (c *comparing) causes(shown *report.Comparison, first *journal.Drive) (*cause.Result, error) {
	drives := shown.Before
	switch shown.Result.Outcome {
	case proof.StillMissing, proof.Moved, proof.Improved:
		if shown.Swap == nil {
			drives = shown.After
		}
	default:
		if shown.Swap == nil {
			return nil, nil
		}
	}
	setup, err := setupOf(first)
	if err != nil {
		return nil, err
	}
	verdicts, err := c.journal.Verdicts(first.Job)
	if err != nil {
		return nil, err
	}
	of := make([]cause.Drive, len(drives))
	for i, d := range drives {
		of[i] = cause.Drive{Summary: d.Summary, Collector: d.Heard}
	}
	e := cause.Gather(of, nil, cmp.Or(lastIgnition(verdicts), setup.ignition()))
	if shown.Swap != nil {
		e.Swaps = []proof.SwapResult{*shown.Swap}
	}
	return cause.StandardBook().Explain(e), nil
}
