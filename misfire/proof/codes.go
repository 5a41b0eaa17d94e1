package proof

import (
	"fmt"
	"slices"
	"strings"

	"stumble/obd"
)

// CodeChange is the trouble codes before and after, over all modules.
type CodeChange struct {
	Stored, Pending, Permanent Change
	// Sentences say what it means, one each.
	Sentences []string
}

// Change is one list of codes before and after, each in order.
type Change struct{ Gone, Kept, New []obd.Code }

// changeOf compares the codes; nil when they were not read on both sides.
func changeOf(before, after *obd.CodeReport) *CodeChange {
	if before == nil || after == nil {
		return nil
	}
	c := &CodeChange{
		Stored:    listChange(before, after, func(m obd.ModuleCodes) []obd.Code { return m.Stored }),
		Pending:   listChange(before, after, func(m obd.ModuleCodes) []obd.Code { return m.Pending }),
		Permanent: listChange(before, after, func(m obd.ModuleCodes) []obd.Code { return m.Permanent }),
	}
	c.Sentences = c.say(len(before.Unread)+len(after.Unread) > 0)
	return c
}

func listChange(before, after *obd.CodeReport, of func(obd.ModuleCodes) []obd.Code) Change {
	b, a := listed(before, of), listed(after, of)
	var c Change
	for _, code := range b {
		if slices.Contains(a, code) {
			c.Kept = append(c.Kept, code)
		} else {
			c.Gone = append(c.Gone, code)
		}
	}
	for _, code := range a {
		if !slices.Contains(b, code) {
			c.New = append(c.New, code)
		}
	}
	return c
}

func listed(r *obd.CodeReport, of func(obd.ModuleCodes) []obd.Code) []obd.Code {
	var all []obd.Code
	for _, m := range r.Modules {
		all = append(all, of(m)...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// say puts the change into sentences. A code that is gone proves nothing by itself; a permanent code that is
// gone does (13 CCR 1968.2 (d)(2.5)).
func (c *CodeChange) say(unread bool) []string {
	var out []string
	tell := func(codes []obd.Code, format string) {
		if len(codes) > 0 {
			out = append(out, fmt.Sprintf(format, join(codes)))
		}
	}
	tell(c.Stored.Gone, "No longer stored: %s. A code that was cleared is gone whether or not the fault is.")
	tell(c.Stored.Kept, "Still stored: %s.")
	tell(c.Stored.New, "Newly stored: %s.")
	tell(c.Pending.Kept, "Still pending: %s.")
	tell(c.Pending.New, "Newly pending: %s. The fault was seen since.")
	tell(c.Permanent.Gone, "Permanent code gone: %s. The car itself agrees that the fault is.")
	tell(c.Permanent.Kept, "Permanent code still there: %s. The car has not verified the repair yet.")
	tell(c.Permanent.New, "New permanent code: %s.")
	if unread {
		out = append(out, "Some lists could not be read: a code missing from them is no good news.")
	}
	if len(out) == 0 {
		out = append(out, "No codes before and none after.")
	}
	return out
}

func join(codes []obd.Code) string {
	words := make([]string, len(codes))
	for i, c := range codes {
		words[i] = c.String()
	}
	return strings.Join(words, ", ")
}
