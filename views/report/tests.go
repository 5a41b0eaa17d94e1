package report

import (
	"slices"

	"stumble/obd"
)

// addTests shows the on-board tests that failed and names those that have not run. Misfire counts have their
// own section.
func addTests(d *Document, i *obd.Intake) {
	failed := &table{columns: []column{
		{title: colMonitor}, {title: colTest}, {title: colValue, right: true}, {title: colAllowed},
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
			failed.add(monitor, obd.TestName(r.TID), testValue(r), allowed(r))
		}
	}
	for k := range i.Legacy {
		if r := &i.Legacy[k]; r.Pass {
			passed++
		} else {
			failed.add(legacyName(r), componentName(r), whole(int(r.Value)), legacyAllowed(r))
		}
	}
	if passed+len(failed.rows)+len(waiting) == 0 {
		return
	}
	d.section(headTests)
	if len(failed.rows) > 0 {
		d.say(sayFailed)
		d.show(failed)
	}
	if len(i.Legacy) > 0 {
		d.say(sayLegacy)
	}
	d.say(passedLine(passed, len(failed.rows)))
	if len(waiting) > 0 {
		d.say(waitingLine(waiting))
	}
}

func testValue(r *obd.TestResult) string {
	if !r.Known {
		return rawNumber(r.Value)
	}
	return quantity(r.Value, r.Unit)
}

// allowed is the range a test value should be in.
func allowed(r *obd.TestResult) string {
	low, high := quantity(r.MinValue, r.Unit), quantity(r.MaxValue, r.Unit)
	switch {
	case r.MinApplies && r.MaxApplies:
		return between(low, high)
	case r.MinApplies:
		return notUnder(low)
	}
	return notOver(high)
}

func legacyAllowed(r *obd.LegacyResult) string {
	if r.LowerLimit {
		return notUnder(whole(int(r.Limit)))
	}
	return notOver(whole(int(r.Limit)))
}
