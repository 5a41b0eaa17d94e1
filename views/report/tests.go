package report

import (
	"slices"

	"stumble/obd"
)

// addTests shows the on-board tests that failed and names those that have not run. Misfire counts have their
// own section.
func (d *Document) addTests(i *obd.Intake) {
	failed := &table{columns: []column{
		{title: d.tell("col-monitor")}, {title: d.tell("col-test")}, {title: d.tell("col-value"), right: true}, {title: d.tell("col-allowed")},
	}}
	passed := 0
	var waiting []string
	for k := range i.Tests {
		r := &i.Tests[k]
		if _, count := countedCylinder(r, i.Tests); count {
			continue
		}
		switch monitor := obd.MonitorName(r.MID); {
		case r.NotRun:
			if !slices.Contains(waiting, monitor) {
				waiting = append(waiting, monitor)
			}
		case r.Pass:
			passed++
		default:
			failed.add(monitor, obd.TestName(r.TID), d.testValue(r), d.allowed(r))
		}
	}
	for k := range i.Legacy {
		if r := &i.Legacy[k]; r.Pass {
			passed++
		} else {
			failed.add(d.tell("legacy-test", Hex(r.TID)), d.tell("legacy-component", Hex(r.Component)), whole(int(r.Value)), d.legacyAllowed(r))
		}
	}
	if passed+len(failed.rows)+len(waiting) == 0 {
		return
	}
	d.section(d.tell("head-tests"))
	if len(failed.rows) > 0 {
		d.say(d.tell("say-failed"))
		d.show(failed)
	}
	if len(i.Legacy) > 0 {
		d.say(d.tell("say-legacy"))
		d.show(d.legacyTable(i.Legacy))
	}
	d.say(d.passedLine(passed, len(failed.rows)))
	if len(waiting) > 0 {
		d.say(d.tell("say-waiting", d.chain("join-semicolon", waiting)))
	}
}

// legacyTable shows every test of a bus before CAN as it came: some makers keep misfire counts among them.
func (w *words) legacyTable(results []obd.LegacyResult) *table {
	t := &table{columns: []column{
		{title: w.tell("col-test"), firm: true}, {title: w.tell("col-component"), firm: true}, {title: w.tell("col-value"), right: true},
		{title: w.tell("col-allowed")},
	}}
	for i := range results {
		r := &results[i]
		t.add(Hex(r.TID), Hex(r.Component), whole(int(r.Value)), w.legacyAllowed(r))
	}
	return t
}

func (w *words) testValue(r *obd.TestResult) string {
	if !r.Known {
		return w.tell("scale-unknown", w.quantity(r.Value, obd.NoUnit))
	}
	return w.quantity(r.Value, r.Unit)
}

// allowed is the range a test value should be in.
func (w *words) allowed(r *obd.TestResult) string {
	low, high := w.quantity(r.MinValue, r.Unit), w.quantity(r.MaxValue, r.Unit)
	switch {
	case r.MinApplies && r.MaxApplies:
		return w.tell("range-between", low, high)
	case r.MinApplies:
		return w.tell("range-not-under", low)
	}
	return w.tell("range-not-over", high)
}

func (w *words) legacyAllowed(r *obd.LegacyResult) string {
	if r.LowerLimit {
		return w.tell("range-not-under", r.Limit)
	}
	return w.tell("range-not-over", r.Limit)
}
