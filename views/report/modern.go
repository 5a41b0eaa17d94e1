package report

import (
	"slices"

	"stumble/obd"
	"stumble/views/say/catalogue"
)

// addModernCaution says of a car that speaks OBD on UDS how little is known of such cars.
func (d *Document) addModernCaution(modern bool) {
	if modern {
		d.add(caution(d.tell("caution-modern")))
	}
}

// modern reports whether any module of an intake says that it speaks OBD on UDS.
func modern(modules []obd.ModuleIntake) bool {
	return slices.ContainsFunc(modules, func(m obd.ModuleIntake) bool { return m.UDS })
}

// modernCodes reports whether any module told its codes in the words of OBD on UDS.
func modernCodes(r *obd.CodeReport) bool {
	return r != nil && slices.ContainsFunc(r.Modules, func(m obd.ModuleCodes) bool { return m.UDS })
}

// modern reports whether the car of a visit speaks OBD on UDS.
func (v *Visit) modern() bool {
	return modernCodes(v.Codes) || v.Intake != nil && modern(v.Intake.Modules)
}

// wholeCode tells each type of failure that a code is kept with, and its status, a line for each module's.
func (w *words) wholeCode(r *obd.CodeReport, c obd.Code) (lines []string) {
	for i := range r.Modules {
		m := &r.Modules[i]
		for _, s := range m.Status {
			if s.Code != c {
				continue
			}
			text := w.tell("code-whole", s, w.failure(s.Failure), w.status(s.Status))
			if len(r.Modules) > 1 {
				text = w.tell("code-whole-in", m.Module, text)
			}
			lines = append(lines, w.sentence(text))
		}
	}
	return lines
}

// failure is the type of failure of a code in words.
func (w *words) failure(b byte) string {
	if key, known := failures()[b]; known {
		return w.tell(key)
	}
	return w.tell("failure-other", Hex(b))
}

// failures are the types of failure that are put into words (SAE J2012-DA): 11 to 2F by one public table, 62 and 64 from
// memory. The standard has many more.
func failures() map[byte]catalogue.Key {
	return map[byte]catalogue.Key{
		0x00: "failure-none", 0x11: "failure-ground", 0x12: "failure-battery", 0x13: "failure-open",
		0x14: "failure-ground-open", 0x15: "failure-battery-open", 0x16: "failure-volts-low", 0x17: "failure-volts-high",
		0x1C: "failure-volts-range", 0x1F: "failure-intermittent", 0x29: "failure-invalid", 0x2F: "failure-erratic",
		0x62: "failure-compare", 0x64: "failure-implausible",
	}
}

// status is a status byte in words: the bits that are set.
func (w *words) status(s obd.Status) string {
	var set []string
	for _, bit := range [...]struct {
		is  obd.Status
		key catalogue.Key
	}{
		{obd.StatusFailing, "status-failing"}, {obd.StatusFailedCycle, "status-failed-cycle"},
		{obd.StatusPending, "status-pending"}, {obd.StatusConfirmed, "status-confirmed"},
		{obd.StatusNotSinceClear, "status-not-since-clear"}, {obd.StatusFailedSinceClear, "status-failed-since-clear"},
		{obd.StatusNotThisCycle, "status-not-this-cycle"}, {obd.StatusLamp, "status-lamp"},
	} {
		if s.Has(bit.is) {
			set = append(set, w.tell(bit.key))
		}
	}
	if len(set) == 0 {
		return w.tell("status-none")
	}
	return w.Commas(set)
}

// addChecks shows how far the checks behind single codes have come, and says what that is good for.
func (d *Document) addChecks(modules []obd.ModuleIntake) {
	for i := range modules {
		m := &modules[i]
		if len(m.Checks) == 0 {
			continue
		}
		t := &table{columns: []column{{title: d.tell("col-code"), head: true}, {title: d.tell("col-since-clear")},
			{title: d.tell("col-this-cycle")}, {title: d.tell("col-in-use"), right: true}, {title: d.tell("col-group"), right: true}}}
		for _, c := range m.Checks {
			t.add(c.String(), d.checkWord(c.Status, obd.StatusNotSinceClear), d.checkWord(c.Status, obd.StatusNotThisCycle),
				d.inUse(c.Ratio), d.group(c.Group))
		}
		d.say(d.tell("say-checks", m.Module))
		d.show(t)
	}
	d.say(d.tell("say-checks-earned"))
}

func (w *words) checkWord(s, not obd.Status) string {
	if s.Has(not) {
		return w.tell("word-incomplete")
	}
	return w.tell("word-complete")
}

func (w *words) inUse(r *obd.InUse) string {
	if r == nil {
		return w.tell("word-not-told")
	}
	return w.tell("in-use-of", w.grouped(float64(r.Completed)), w.grouped(float64(r.Met)))
}

func (w *words) group(g byte) string {
	if g == 0 {
		return ""
	}
	return Hex(g)
}

// checked reports whether any module told how far the checks behind single codes have come.
func checked(modules []obd.ModuleIntake) bool {
	return slices.ContainsFunc(modules, func(m obd.ModuleIntake) bool { return len(m.Checks) > 0 })
}

// addRecords shows the counts that hang on the cylinders' codes and do not say what they count.
func (d *Document) addRecords(counts []CylinderCounts) {
	most := 0
	for _, c := range counts {
		most = max(most, len(c.Records))
	}
	if most == 0 {
		return
	}
	t := &table{columns: []column{{title: d.tell("col-cylinder"), right: true}}}
	for n := range most {
		t.columns = append(t.columns, column{title: d.tell("col-result", n+1), right: true})
	}
	for _, c := range counts {
		row := make([]string, 1+most)
		row[0] = whole(c.Cylinder)
		for i, r := range c.Records {
			row[1+i] = d.countText(r)
		}
		if len(c.Records) > 0 {
			t.add(row...)
		}
	}
	d.say(d.tell("say-records"))
	d.show(t)
}
