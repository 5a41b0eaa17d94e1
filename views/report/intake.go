package report

import (
	"io"

	"stumble/obd"
)

// WriteIntake writes an intake as text for people, no line longer than width cells. An error says that width
// is too small, or what w reported.
func WriteIntake(w io.Writer, i *obd.Intake, width int) error {
	d := newDocument(Metric)
	d.head(d.tell("title-intake"))
	d.add(caution(d.tell("caution-clear")))
	d.addModernCaution(modern(i.Modules))
	d.addVehicle(i)
	d.section(d.tell("title-codes"))
	d.addCodes(&i.CodeReport, i.Protocol != obd.ProtocolUnknown && !i.Protocol.CAN())
	d.addMiscounts(i)
	d.addFrames(&i.CodeReport)
	d.addReadiness(i.Modules)
	d.addCounts(i)
	d.addTests(i)
	d.addTrims(i.Live)
	d.addModules(i.Modules)
	d.addUnread(i.Unread)
	return d.WriteText(w, width)
}

// addVehicle tells which car it is, how it was reached, and the state it was found in.
func (d *Document) addVehicle(i *obd.Intake) {
	t := facts()
	t.add(d.tell("fact-vin"), d.vinText(i))
	if !i.At.IsZero() {
		t.add(d.tell("fact-at"), i.At.Format("2006-01-02 15:04 MST"))
	}
	if i.Adapter != "" {
		t.add(d.tell("fact-adapter"), isolate(i.Adapter))
	}
	t.add(d.tell("fact-protocol"), i.Protocol.String())
	if modern(i.Modules) {
		t.add(d.tell("fact-language"), d.languageText(i.Modules))
	}
	t.add(d.tell("fact-voltage"), d.voltageText(i))
	t.add(d.tell("fact-engine"), d.engineText(i.Live))
	t.add(d.tell("fact-lamp"), d.lampText(i))
	if since := d.sinceClear(i.Live); since != "" {
		t.add(d.tell("fact-cleared"), since)
	}
	d.show(t)
}

// languageText tells which modules say that they speak OBD on UDS.
func (w *words) languageText(modules []obd.ModuleIntake) string {
	var names []string
	for i := range modules {
		if modules[i].UDS {
			names = append(names, modules[i].Module.String())
		}
	}
	return w.inModules(w.tell("word-modern"), names)
}

func (w *words) vinText(i *obd.Intake) string {
	switch vin := foreign(i.VIN); {
	case vin == "":
		return w.tell("word-not-told")
	case i.VINCheck:
		return w.tell("remark-vin-right", vin)
	default:
		return w.tell("remark-vin-wrong", vin)
	}
}

// running reports whether the engine turns; told is false when the car did not say.
func running(live []obd.Reading) (yes, told bool) {
	r, ok := find(live, obd.PIDRPM, 0)
	return ok && r.Value > 0, ok
}

// The supply voltage of a healthy 12 V system (common practice, no source).
const (
	restingVolts  = 12.4
	chargingVolts = 13.2
	highestVolts  = 14.8
)

func (w *words) voltageText(i *obd.Intake) string {
	if !(i.Voltage > 0) {
		return w.tell("word-not-told")
	}
	turns, _ := running(i.Live)
	text := w.quantity(i.Voltage, obd.Volts)
	switch {
	case i.Voltage > highestVolts:
		return w.tell("remark-volts-high", text)
	case turns && i.Voltage < chargingVolts:
		return w.tell("remark-not-charging", text)
	case !turns && i.Voltage < restingVolts:
		return w.tell("remark-key-on", text)
	}
	return text
}

// engineText tells how the engine was found.
func (w *words) engineText(live []obd.Reading) string {
	turns, told := running(live)
	if !told {
		return w.tell("word-not-told")
	}
	about := []string{w.tell("word-stands-still")}
	if turns {
		r, _ := find(live, obd.PIDRPM, 0)
		about = []string{w.tell("word-running-at", w.phrase(r))}
	}
	for _, pid := range [...]byte{obd.PIDLoad, obd.PIDCoolant, obd.PIDIntakeAir} {
		if r, ok := find(live, pid, 0); ok && (turns || pid != obd.PIDLoad) {
			about = append(about, w.phrase(r))
		}
	}
	return w.Commas(about)
}

// lampText tells the state of the warning lamp as the modules command it.
func (w *words) lampText(i *obd.Intake) string {
	var lit, dark, silent []string
	for k := range i.Modules {
		switch m := &i.Modules[k]; {
		case m.Monitors == nil:
			silent = append(silent, m.Module.String())
		case m.Monitors.MIL:
			lit = append(lit, m.Module.String())
		default:
			dark = append(dark, m.Module.String())
		}
	}
	switch {
	case len(lit) > 0:
	case len(dark) == 0:
		return w.tell("word-not-told")
	case len(silent) > 0: // one that did not tell may be the one that lights it
		return w.Commas([]string{w.inModules(w.onOff(false), dark), w.byModules(w.tell("word-not-told"), silent)})
	default:
		return w.onOff(false)
	}
	var lengths []string
	for _, pid := range [...]byte{obd.PIDDistanceMIL, obd.PIDTimeMIL} {
		if r, ok := find(i.Live, pid, 0); ok {
			lengths = append(lengths, w.phrase(r))
		}
	}
	text := w.inModules(w.onOff(true), lit)
	if len(lengths) == 0 {
		return text
	}
	return w.tell("lamp-for", text, w.List(lengths))
}

// sinceClear tells how long ago the codes were cleared, as far as the car keeps that.
func (w *words) sinceClear(live []obd.Reading) string {
	var about []string
	for _, pid := range [...]byte{obd.PIDDistanceClear, obd.PIDTimeClear, obd.PIDWarmUps} {
		if r, ok := find(live, pid, 0); ok {
			about = append(about, w.phrase(r))
		}
	}
	if len(about) == 0 {
		return ""
	}
	return w.tell("word-ago", w.List(about))
}

// addMiscounts says where a module counts more or fewer stored codes than its list holds.
func (d *Document) addMiscounts(i *obd.Intake) {
	if !codeLists()[0].read(&i.CodeReport) {
		return
	}
	for k := range i.Modules {
		m := &i.Modules[k]
		if m.Monitors == nil {
			continue
		}
		held := 0
		for _, c := range i.CodeReport.Modules {
			if c.Module == m.Module {
				held = len(c.Stored)
			}
		}
		if m.Monitors.Codes != held {
			d.say(d.tell("say-miscount", m.Module, d.count("count-stored-codes", float64(m.Monitors.Codes)), held))
		}
	}
}

// addModules lists what identifies the program of each control module.
func (d *Document) addModules(modules []obd.ModuleIntake) {
	t := &table{columns: []column{
		{title: d.tell("col-module"), firm: true}, {title: d.tell("col-calibration")}, {title: d.tell("col-cvn")}, {title: d.tell("col-name")},
	}}
	for i := range modules {
		m := &modules[i]
		if m.Name == "" && len(m.Calibrations)+len(m.CVNs) == 0 {
			continue
		}
		for k := range max(1, len(m.Calibrations), len(m.CVNs)) {
			row := []string{"", "", "", ""}
			if k == 0 {
				row[0], row[3] = m.Module.String(), isolate(m.Name)
			}
			if k < len(m.Calibrations) {
				row[1] = isolate(m.Calibrations[k])
			}
			if k < len(m.CVNs) {
				row[2] = m.CVNs[k].String()
			}
			t.add(row...)
		}
	}
	if len(t.rows) > 0 {
		d.section(d.tell("head-modules"))
		d.show(t)
	}
}
