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
	Vehicle  string     // its name
	Drives   []*Counted // that it rests on
	Left     []LeftOut
	Ignition cause.Ignition
	Result   *cause.Result
	Last     *Kept             // what was last compared of the job; nil when nothing was
	Followed *proof.SwapResult // a swap that named the part, since which nobody told of a repair; nil where none did
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
	Drive  int64 // of AfterExchange
	Repair Deed  // else
}

// Rank ranks the causes of the job by all that is known of it. told is how the coils are laid out, where that was
// told now.
func (c *Case) Rank(ctx context.Context, told cause.Ignition) (*Ranking, error) {
	all, err := c.Count(ctx)
	if err != nil {
		return nil, err
	}
	r := &Ranking{Job: c.Job.ID, Vehicle: Printable(VehicleName(c.Job.Vehicle))}
	if r.Drives, r.Left, err = c.faulty(all); err != nil {
		return nil, err
	}
	e := cause.Gather(causeDrives(r.Drives), c.NewestIntake(), cmp.Or(told, c.ignition(all)))
	c.addCodes(&e)
	if e.Swaps, err = c.swaps(); err != nil {
		return nil, err
	}
	e.Bench = bench.Judge(Values(c.Bench))
	if r.Followed, err = c.followed(e.Swaps); err != nil {
		return nil, err
	}
	e.Told = c.told()
	r.Ignition, r.Result = e.Ignition, c.Book.Explain(e)
	if last, found := lastKept(c.Verdicts); found {
		r.Last = &last
	}
	return r, nil
}

// Cured returns the repair that was proven and after which nothing misses; nil where there is none. What is ranked is then
// the fault as it stood before.
func (r *Ranking) Cured() *Deed {
	for i := range r.Left {
		if l := &r.Left[i]; l.Kind == Cured && r.Last != nil && r.Last.Outcome == provenOutcome {
			return &l.Repair
		}
	}
	return nil
}

// rankNow ranks the causes at the end of a drive: who left it still wants its end told.
func (c *Case) rankNow() (*cause.Result, error) {
	r, err := c.Rank(context.Background(), cause.IgnitionUnknown)
	if err != nil {
		return nil, err
	}
	return r.Result, nil
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

// misses reports whether a drive accuses a cylinder, a bank or the engine.
func (d *Counted) misses() bool { return d.Summary.Verdict.Accuses() }

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
	switch {
	case c.Untold(): // one evidence
		drives = slices.Concat(c.Before, c.After)
		if !slices.ContainsFunc(drives, (*Counted).misses) {
			return nil
		}
	case c.Swap == nil:
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
