package job

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"slices"
	"time"

	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
)

// Ranking is what may be behind the misfire of a job, ranked.
type Ranking struct {
	Job      int64
	Drives   []*Counted // that it rests on
	Left     []LeftOut
	Ignition cause.Ignition
	Result   *cause.Result
	Last     *Kept // what was last compared of the job; nil when nothing was
}

// LeftOutKind is why drives are left out of a ranking.
type LeftOutKind uint8

// Why drives are left out.
const (
	AfterExchange LeftOutKind = iota // parts were exchanged before the drive
	BeforeRepair                     // the drives from before the repair: since then it misses still
	Cured                            // the drives since the repair: they do not miss
)

// LeftOut is drives that are left out of a ranking.
type LeftOut struct {
	Kind   LeftOutKind
	Drive  int64  // of AfterExchange
	Repair Repair // else
}

// Rank ranks the causes of the job by all that is known of it. told is how the coils are laid out, where that was
// told now.
func (c *Case) Rank(ctx context.Context, told cause.Ignition) (*Ranking, error) {
	all, err := c.Count(ctx)
	if err != nil {
		return nil, err
	}
	r := &Ranking{Job: c.Job.ID}
	if r.Drives, r.Left, err = c.faulty(all); err != nil {
		return nil, err
	}
	e := cause.Gather(causeDrives(r.Drives), c.NewestIntake(), cmp.Or(told, c.ignition(all)))
	c.addCodes(&e)
	e.Swaps = c.swaps()
	e.Bench = bench.Judge(Values(c.Bench))
	r.Ignition, r.Result = e.Ignition, cause.StandardBook().Explain(e)
	if last, found := lastKept(c.Verdicts); found {
		r.Last = &last
	}
	return r, nil
}

func causeDrives(counted []*Counted) []cause.Drive {
	drives := make([]cause.Drive, len(counted))
	for i, d := range counted {
		drives[i] = cause.Drive{Summary: d.Summary, Collector: d.Heard}
	}
	return drives
}

// verdictCauses is the kind under which the journal keeps ranked causes.
const verdictCauses = "causes"

// SaveCauses keeps ranked causes in the job, as JSON of the caller's with the ignition in its field "ignition",
// unless that is what was kept last.
func (c *Case) SaveCauses(at time.Time, data []byte) error {
	for _, v := range slices.Backward(c.Verdicts) {
		if v.Kind != verdictCauses {
			continue
		}
		if bytes.Equal(v.Data, data) {
			return nil // nothing new was found
		}
		break
	}
	return c.keep(verdictCauses, at, data)
}

// ignition is how the coils are laid out as it was last told with a ranking, else with a drive.
func (c *Case) ignition(all []*Counted) cause.Ignition {
	last := lastIgnition(c.Verdicts)
	for _, d := range slices.Backward(all) {
		last = cmp.Or(last, d.Setup.Coils())
	}
	return last
}

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

// faulty finds the drives that show the fault: those before the repair, or all since when it still misses then; of
// these not the ones after parts were exchanged.
func (c *Case) faulty(all []*Counted) (chosen []*Counted, left []LeftOut, err error) {
	repair, err := c.LastRepair()
	if err != nil || len(all) == 0 {
		return nil, nil, err
	}
	var moved []int64
	for _, x := range c.exchanges() {
		moved = append(moved, x.After...)
	}
	var before, since []*Counted
	for _, d := range all {
		switch {
		case slices.Contains(moved, d.Stored.ID):
			left = append(left, LeftOut{Kind: AfterExchange, Drive: d.Stored.ID})
		case repair.Kind != NoRepair && d.Stored.Started.After(repair.At):
			since = append(since, d)
		default:
			before = append(before, d)
		}
	}
	switch {
	case len(since) == 0:
		return before, left, nil
	case len(before) == 0:
		return since, left, nil
	case slices.ContainsFunc(since, (*Counted).misses):
		return since, append(left, LeftOut{Kind: BeforeRepair, Repair: repair}), nil
	}
	return before, append(left, LeftOut{Kind: Cured, Repair: repair}), nil
}

// misses reports whether a drive accuses a cylinder, a bank or the engine.
func (d *Counted) misses() bool { return d.Summary.Verdict.Accuses() }

// exchanges are the comparisons of the job in which parts were exchanged, the last of each exchange.
func (c *Case) exchanges() (all []Kept) {
	for _, v := range c.Verdicts {
		found, is := KeptComparison(&v)
		if !is || found.Swapped == "" || len(found.Before) == 0 || len(found.After) == 0 {
			continue
		}
		all = slices.DeleteFunc(all, func(o Kept) bool { return o.Swapped == found.Swapped })
		all = append(all, found)
	}
	return all
}

// swaps judges each exchange of parts anew, from the drives as they are counted now. One whose drives are gone, or that
// can tell nothing, is passed over.
func (c *Case) swaps() (all []proof.SwapResult) {
	for _, x := range c.exchanges() {
		swap, err := proof.ParseSwap(x.Swapped)
		before, complete := c.side(x.Before)
		after, there := c.side(x.After)
		if err != nil || !complete || !there {
			continue
		}
		q := Question{Ceiling: x.Ceiling}
		in := proof.Input{Before: before, After: after, Strict: x.Strict, Ceiling: q.ceiling()}
		if result, err := proof.CompareSwap(in, swap); err == nil {
			all = append(all, *result)
		}
	}
	return all
}

// side is some counted drives of the job, as a comparison takes them; false when not all are there.
func (c *Case) side(ids []int64) (out proof.Side, complete bool) {
	for _, id := range ids {
		d := c.counted[id]
		if d == nil {
			return out, false
		}
		out.VIN = d.Setup.VIN
		out.Drives = append(out.Drives, d.Summary)
	}
	return out, true
}

// addCodes adds the code reports that were read by themselves.
func (c *Case) addCodes(e *cause.Evidence) {
	for i := range c.Intakes {
		if r := &c.Intakes[i]; r.Intake == nil && r.Codes != nil {
			e.AddCodes(r.Codes)
		}
	}
}

// causes is what may be behind what misses still after a repair, or, where parts were exchanged, behind what missed
// before; nil where nothing does.
func (c *Comparison) causes(verdicts []journal.Verdict) *cause.Result {
	drives := c.Before
	if c.Swap == nil {
		switch c.Result.Outcome {
		case proof.StillMissing, proof.Moved, proof.Improved:
			drives = c.After
		default:
			return nil
		}
	}
	e := cause.Gather(causeDrives(drives), nil, cmp.Or(lastIgnition(verdicts), c.Before[0].Setup.Coils()))
	if c.Swap != nil {
		e.Swaps = []proof.SwapResult{*c.Swap}
	}
	return cause.StandardBook().Explain(e)
}
