package job

import (
	"encoding/json"
	"errors"
	"slices"
	"time"

	"stumble/misfire/journal"
	"stumble/obd"
)

// verdictClear is the kind of the verdict that a clear of trouble codes is kept under.
const verdictClear = "clear"

// Cleared is what became of trouble codes that were cleared.
type Cleared struct {
	Cleared []obd.Code `json:"cleared"` // stored or pending before
	Back    []obd.Code `json:"back"`    // stored or pending at once afterwards
	Stays   []obd.Code `json:"stays"`   // permanent afterwards
	Sure    bool       `json:"sure"`    // the car said that it cleared
	// After is the uid of the job's last drive before it, empty for none; nil of what an older version kept.
	After *string `json:"after,omitempty"`
}

// clearOrder is which drives a clear came after; false for any other verdict.
func (c *Case) clearOrder(v *journal.Verdict) (order journal.Order, is bool) {
	var kept Cleared
	if is = v.Kind == verdictClear; !is || json.Unmarshal(v.Data, &kept) != nil || kept.After == nil {
		return order, is
	}
	id, there := c.uids[*kept.After]
	return journal.Order{Known: there || *kept.After == "", Drive: id}, true
}

// LastClear returns when the codes were last cleared under the job; zero when they never were.
func (c *Case) LastClear() (last time.Time) {
	for _, v := range c.Verdicts {
		if v.Kind == verdictClear && v.At.After(last) {
			last = v.At
		}
	}
	return last
}

// Evidence returns the intake that tells of the car since the codes were last cleared; nil where there is none.
func (c *Case) Evidence() *journal.IntakeRecord {
	last := c.LastClear()
	for i, r := range slices.Backward(c.Intakes) {
		if r.Intake != nil && (last.IsZero() || r.At.After(last)) {
			return &c.Intakes[i]
		}
	}
	return nil
}

// SaveClear saves a clear, the codes that were read after it, and a note of it. A clear is never older than the intake
// that it rests on: a simulated car's time may run ahead.
func (c *Case) SaveClear(at time.Time, done *Cleared, after *obd.CodeReport, note string) error {
	if in := c.Evidence(); in != nil && at.Before(in.At) {
		at = in.At
	}
	order, err := c.journal.Now(c.Job.ID)
	if err != nil {
		return err
	}
	last := ""
	for uid, id := range c.uids {
		if id == order.Drive {
			last = uid
		}
	}
	done.After = &last
	data, err := json.Marshal(done)
	if err != nil {
		return err
	}
	saved := c.keep(verdictClear, at, data)
	_, codes := c.journal.AddCodes(c.Job.ID, at, after, order)
	noted := c.journal.AddNote(c.Job.ID, journal.Note{At: at, Text: note, Order: order})
	return errors.Join(saved, codes, noted)
}

// Codes returns the codes of all modules that lists choose, each once and in order.
func Codes(r *obd.CodeReport, lists ...func(*obd.ModuleCodes) []obd.Code) []obd.Code {
	all := []obd.Code{}
	for i := range r.Modules {
		for _, list := range lists {
			all = append(all, list(&r.Modules[i])...)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// StoredCodes, PendingCodes and PermanentCodes choose one list of a module.
func StoredCodes(m *obd.ModuleCodes) []obd.Code    { return m.Stored }
func PendingCodes(m *obd.ModuleCodes) []obd.Code   { return m.Pending }
func PermanentCodes(m *obd.ModuleCodes) []obd.Code { return m.Permanent }

// Erasable returns the codes that a clear erases.
func Erasable(r *obd.CodeReport) []obd.Code { return Codes(r, StoredCodes, PendingCodes) }

// Without returns the codes that are not among others.
func Without(codes, others []obd.Code) (left []obd.Code) {
	for _, code := range codes {
		if !slices.Contains(others, code) {
			left = append(left, code)
		}
	}
	return left
}
