package report

import (
	"cmp"
	"iter"
	"slices"

	"stumble/obd"
)

// cylinderCounts are the misfire counts that a module keeps of one cylinder; nil is not told.
type cylinderCounts struct {
	module           obd.Module
	cylinder         int
	current, average *obd.TestResult
}

// countsOf picks the misfire counts out of test results, by module and cylinder.
func countsOf(tests []obd.TestResult) []cylinderCounts {
	var out []cylinderCounts
	for i := range tests {
		r := &tests[i]
		cylinder, ok := countedCylinder(r, tests)
		if !ok {
			continue
		}
		k := slices.IndexFunc(out, func(c cylinderCounts) bool { return c.module == r.Module && c.cylinder == cylinder })
		if k < 0 {
			k = len(out)
			out = append(out, cylinderCounts{module: r.Module, cylinder: cylinder})
		}
		if r.TID == obd.TIDCount {
			out[k].current = r
		} else {
			out[k].average = r
		}
	}
	slices.SortFunc(out, func(a, b cylinderCounts) int {
		return cmp.Or(cmp.Compare(a.module.ID, b.module.ID), cmp.Compare(a.cylinder, b.cylinder))
	})
	return out
}

// countedCylinder tells whose misses a test result counts; false when it is another kind of test.
func countedCylinder(r *obd.TestResult, tests []obd.TestResult) (cylinder int, ok bool) {
	if r.Unit != obd.Counts || r.TID != obd.TIDCount && r.TID != obd.TIDAverage {
		return 0, false
	}
	return obd.MisfireCylinder(r.MID, tests)
}

// addCounts shows the misfire counts of each cylinder, or says why there are none.
func (d *Document) addCounts(i *obd.Intake) {
	d.section(d.tell("head-counts"))
	counts := countsOf(i.Tests)
	if len(counts) == 0 {
		d.say(d.noCounts(i.Protocol))
		return
	}
	turns, told := running(i.Live)
	several := counts[0].module != counts[len(counts)-1].module
	for group := range modulesOf(counts) {
		if several {
			d.say(d.tell("counted-by", group[0].module))
		}
		d.show(d.countTable(group, d.driveColumn(turns, told)))
		d.say(d.shareLine(group))
	}
	d.say(d.tell("say-counts-no-rate"))
	d.say(d.tell("say-average"))
	if told && !turns {
		d.say(d.tell("say-last-drive"))
	}
}

// modulesOf parts sorted counts by module.
func modulesOf(counts []cylinderCounts) iter.Seq[[]cylinderCounts] {
	return func(yield func([]cylinderCounts) bool) {
		for len(counts) > 0 {
			end := slices.IndexFunc(counts, func(c cylinderCounts) bool { return c.module != counts[0].module })
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

func (w *words) countTable(counts []cylinderCounts, drive string) *table {
	t := &table{columns: []column{
		{title: w.tell("col-cylinder"), right: true}, {title: drive, right: true}, {title: w.tell("col-share"), right: true},
		{title: w.tell("col-average"), right: true}, {title: w.tell("col-remark")},
	}}
	total := totalMisses(counts)
	for _, c := range counts {
		share := ""
		if total > 0 && c.current != nil {
			share = w.shareText(c.current.Value / total)
		}
		t.add(whole(c.cylinder), w.countText(c.current), share, w.countText(c.average), w.countRemark(c))
	}
	return t
}

// leastForShares is how many misses it takes until their shares are told: of a handful they say nothing.
const leastForShares = 10

// totalMisses adds up the counts of a drive; it is 0 where a full counter hides the sum, or there are too
// few for shares.
func totalMisses(counts []cylinderCounts) float64 {
	total := 0.0
	for _, c := range counts {
		switch {
		case c.current == nil:
		case c.current.Saturated():
			return 0
		default:
			total += c.current.Value
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
func (w *words) countRemark(c cylinderCounts) string {
	r := c.current
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
func (w *words) shareLine(counts []cylinderCounts) string {
	total := totalMisses(counts)
	var names []string
	part := 0.0
	for _, c := range counts {
		if c.current != nil && c.current.Value > total/10 {
			names = append(names, whole(c.cylinder))
			part += c.current.Value
		}
	}
	if total == 0 || len(names) == 0 || len(names) == len(counts) {
		return ""
	}
	return w.shareWords(names, part/total, total)
}
