package report

import (
	"cmp"
	"iter"
	"slices"

	"stumble/obd"
)

// CylinderCounts are the misfire counts that a module keeps of one cylinder; nil is not told.
type CylinderCounts struct {
	Module           obd.Module
	Cylinder         int
	Current, Average *obd.TestResult
	// Records are the counts that hang on the cylinder's code and do not say which of the two they are.
	Records []*obd.TestResult
}

// CountsOf picks the misfire counts out of test results, by module and cylinder.
func CountsOf(tests []obd.TestResult) []CylinderCounts {
	var out []CylinderCounts
	for i := range tests {
		r := &tests[i]
		cylinder, ok := countedCylinder(r, tests)
		if !ok {
			continue
		}
		k := slices.IndexFunc(out, func(c CylinderCounts) bool { return c.Module == r.Module && c.Cylinder == cylinder })
		if k < 0 {
			k = len(out)
			out = append(out, CylinderCounts{Module: r.Module, Cylinder: cylinder})
		}
		switch {
		case r.Record > 0 && r.TID != obd.TIDCount:
			out[k].Records = append(out[k].Records, r)
		case r.TID == obd.TIDCount && (r.Record == 0 || out[k].Current == nil):
			out[k].Current = r
		case r.TID == obd.TIDAverage:
			out[k].Average = r
		}
	}
	slices.SortFunc(out, func(a, b CylinderCounts) int {
		return cmp.Or(cmp.Compare(a.Module.ID, b.Module.ID), cmp.Compare(a.Cylinder, b.Cylinder))
	})
	return out
}

// countedCylinder tells whose misses a test result counts; false when it is another kind of test.
func countedCylinder(r *obd.TestResult, tests []obd.TestResult) (cylinder int, ok bool) {
	if r.Unit != obd.Counts || r.Record == 0 && r.TID != obd.TIDCount && r.TID != obd.TIDAverage {
		return 0, false
	}
	return obd.MisfireCylinder(r.MID, tests)
}

// addCounts shows the misfire counts of each cylinder, or says why there are none.
func (d *Document) addCounts(i *obd.Intake) {
	d.section(d.tell("head-counts"))
	counts := CountsOf(i.Tests)
	if len(counts) == 0 {
		d.say(d.noCounts(i.Protocol))
		return
	}
	turns, told := running(i.Live)
	several := counts[0].Module != counts[len(counts)-1].Module
	for group := range modulesOf(counts) {
		if several {
			d.say(d.tell("counted-by", group[0].Module))
		}
		if named(group) {
			d.show(d.countTable(group, d.driveColumn(turns, told)))
			d.say(d.shareLine(group))
		}
		d.addRecords(group)
	}
	d.say(d.tell("say-counts-no-rate"))
	if !named(counts) {
		return
	}
	d.say(d.tell("say-average"))
	if told && !turns {
		d.say(d.tell("say-last-drive"))
	}
}

// named reports whether any of the counts says what it counts.
func named(counts []CylinderCounts) bool {
	return slices.ContainsFunc(counts, func(c CylinderCounts) bool { return c.Current != nil || c.Average != nil })
}

// modulesOf parts sorted counts by module.
func modulesOf(counts []CylinderCounts) iter.Seq[[]CylinderCounts] {
	return func(yield func([]CylinderCounts) bool) {
		for len(counts) > 0 {
			end := slices.IndexFunc(counts, func(c CylinderCounts) bool { return c.Module != counts[0].Module })
			if end < 0 {
				end = len(counts)
			}
			if !yield(counts[:end]) {
				return
			}
			counts = counts[end:]
		}
	}
}

func (w *words) countTable(counts []CylinderCounts, drive string) *table {
	t := &table{columns: []column{
		{title: w.tell("col-cylinder"), right: true}, {title: drive, right: true}, {title: w.tell("col-share"), right: true},
		{title: w.tell("col-average"), right: true}, {title: w.tell("col-remark")},
	}}
	total := totalMisses(counts)
	for _, c := range counts {
		share := ""
		if total > 0 && c.Current != nil {
			share = w.shareText(c.Current.Value / total)
		}
		t.add(whole(c.Cylinder), w.countText(c.Current), share, w.countText(c.Average), w.countRemark(c))
	}
	return t
}

// leastForShares is how many misses it takes until their shares are told: of a handful they say nothing.
const leastForShares = 10

// totalMisses adds up the counts of a drive; it is 0 where a full counter hides the sum, or there are too
// few for shares.
func totalMisses(counts []CylinderCounts) float64 {
	total := 0.0
	for _, c := range counts {
		switch {
		case c.Current == nil:
		case c.Current.Saturated():
			return 0
		default:
			total += c.Current.Value
		}
	}
	if total < leastForShares {
		return 0
	}
	return total
}

func (w *words) countText(r *obd.TestResult) string {
	switch {
	case r == nil:
		return w.tell("word-not-told")
	case r.Saturated():
		return w.tell("at-least", w.quantity(r.Value, obd.Counts))
	}
	return w.quantity(r.Value, obd.Counts)
}

// countRemark says what the figure alone does not.
func (w *words) countRemark(c CylinderCounts) string {
	r := c.Current
	switch {
	case r == nil:
		return ""
	case r.Saturated():
		return w.tell("remark-saturated")
	case r.NotRun:
		return w.tell("remark-perhaps-not-run")
	case !r.Pass && r.MaxApplies && r.Value > r.MaxValue:
		return w.tell("over-limit", w.quantity(r.MaxValue, obd.Counts))
	}
	return ""
}

// shareLine names the cylinders that have more than a tenth of all misses, the share from which the
// multiple-cylinder code is due (13 CCR 1968.2 (e)(3.1.3)).
func (w *words) shareLine(counts []CylinderCounts) string {
	total := totalMisses(counts)
	var names []string
	part := 0.0
	for _, c := range counts {
		if c.Current != nil && c.Current.Value > total/10 {
			names = append(names, whole(c.Cylinder))
			part += c.Current.Value
		}
	}
	if total == 0 || len(names) == 0 || len(names) == len(counts) {
		return ""
	}
	return w.shareWords(names, part/total, total)
}
