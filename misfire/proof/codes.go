package proof

import (
	"slices"

	"stumble/obd"
)

// CodeChange is the trouble codes before and after, over all modules.
type CodeChange struct {
	Stored, Pending, Permanent Change
	Unread                     bool // some lists could not be read, so that what is missing from them is not gone
}

// Change is one list of codes before and after, each in order.
type Change struct{ Gone, Kept, New []obd.Code }

// changeOf compares the codes; nil when they were not read on both sides.
func changeOf(before, after *obd.CodeReport) *CodeChange {
	if before == nil || after == nil {
		return nil
	}
	return &CodeChange{
		Stored:    listChange(before, after, func(m obd.ModuleCodes) []obd.Code { return m.Stored }),
		Pending:   listChange(before, after, func(m obd.ModuleCodes) []obd.Code { return m.Pending }),
		Permanent: listChange(before, after, func(m obd.ModuleCodes) []obd.Code { return m.Permanent }),
		Unread:    len(before.Unread)+len(after.Unread) > 0,
	}
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
