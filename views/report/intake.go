package report

import (
	"io"
	"strings"

	"stumble/obd"
)

// WriteIntake writes an intake as text for people, no line longer than width cells. An error says that width
// is too small, or what w reported.
func WriteIntake(w io.Writer, i *obd.Intake, width int) error {
	d := &Document{}
	d.head(titleIntake)
	d.add(caution(cautionClear))
	addVehicle(d, i)
	d.section(titleCodes)
	addCodes(d, &i.CodeReport, i.Protocol != obd.ProtocolUnknown && !i.Protocol.CAN())
	addMiscounts(d, i)
	addFrames(d, &i.CodeReport)
	addReadiness(d, i.Modules)
	addCounts(d, i)
	addTests(d, i)
	addTrims(d, i.Live)
	addModules(d, i.Modules)
	addUnread(d, i.Unread)
	return d.WriteText(w, width)
}

// addVehicle tells which car it is, how it was reached, and the state it was found in.
func addVehicle(d *Document, i *obd.Intake) {
	t := facts()
	t.add(factVIN, vinText(i))
	if !i.At.IsZero() {
		t.add(factAt, i.At.Format("2006-01-02 15:04 MST"))
	}
	if i.Adapter != "" {
		t.add(factAdapter, foreign(i.Adapter))
	}
	t.add(factProtocol, i.Protocol.String())
	t.add(factVoltage, voltageText(i))
	t.add(factEngine, engineText(i.Live))
	t.add(factLamp, lampText(i))
	if since := sinceClear(i.Live); since != "" {
		t.add(factCleared, since)
	}
	d.show(t)
}

func vinText(i *obd.Intake) string {
	switch vin := foreign(i.VIN); {
	case vin == "":
		return wordNotTold
	case i.VINCheck:
		return vin + remarkVINRight
	default:
		return vin + remarkVINWrong
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

func voltageText(i *obd.Intake) string {
	if !(i.Voltage > 0) {
		return wordNotTold
	}
	turns, _ := running(i.Live)
	text := quantity(i.Voltage, obd.Volts)
	switch {
	case i.Voltage > highestVolts:
		return text + remarkVoltsHigh
	case turns && i.Voltage < chargingVolts:
		return text + remarkNotCharging
	case !turns && i.Voltage < restingVolts:
		return text + remarkBatteryLow
	}
	return text
}

// engineText tells how the engine was found.
func engineText(live []obd.Reading) string {
	turns, told := running(live)
	if !told {
		return wordNotTold
	}
	words := []string{wordStandsStill}
	if turns {
		r, _ := find(live, obd.PIDRPM, 0)
		words = []string{wordRunningAt + phrase(r)}
	}
	for _, pid := range [...]byte{obd.PIDLoad, obd.PIDCoolant, obd.PIDIntakeAir} {
		if r, ok := find(live, pid, 0); ok && (turns || pid != obd.PIDLoad) {
			words = append(words, phrase(r))
		}
	}
	return strings.Join(words, ", ")
}

// lampText tells the state of the warning lamp as the modules command it.
func lampText(i *obd.Intake) string {
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
		return wordNotTold
	case len(silent) > 0: // one that did not tell may be the one that lights it
		return onOff(false) + inModules(dark) + ", " + wordNotTold + byModules(silent)
	default:
		return onOff(false)
	}
	var lengths []string
	for _, pid := range [...]byte{obd.PIDDistanceMIL, obd.PIDTimeMIL} {
		if r, ok := find(i.Live, pid, 0); ok {
			lengths = append(lengths, phrase(r))
		}
	}
	return onOff(true) + inModules(lit) + litFor(lengths)
}

// sinceClear tells how long ago the codes were cleared, as far as the car keeps that.
func sinceClear(live []obd.Reading) string {
	var words []string
	for _, pid := range [...]byte{obd.PIDDistanceClear, obd.PIDTimeClear, obd.PIDWarmUps} {
		if r, ok := find(live, pid, 0); ok {
			words = append(words, phrase(r))
		}
	}
	if len(words) == 0 {
		return ""
	}
	return and(words) + wordAgo
}

// addMiscounts says where a module counts more or fewer stored codes than its list holds.
func addMiscounts(d *Document, i *obd.Intake) {
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
			d.say(miscountLine(m.Module, m.Monitors.Codes, held))
		}
	}
}

// addModules lists what identifies the program of each control module.
func addModules(d *Document, modules []obd.ModuleIntake) {
	t := &table{columns: []column{{title: colModule, firm: true}, {title: colCalibration}, {title: colCVN}, {title: colName}}}
	for i := range modules {
		m := &modules[i]
		if m.Name == "" && len(m.Calibrations)+len(m.CVNs) == 0 {
			continue
		}
		for k := range max(1, len(m.Calibrations), len(m.CVNs)) {
			row := []string{"", "", "", ""}
			if k == 0 {
				row[0], row[3] = m.Module.String(), foreign(m.Name)
			}
			if k < len(m.Calibrations) {
				row[1] = foreign(m.Calibrations[k])
			}
			if k < len(m.CVNs) {
				row[2] = m.CVNs[k].String()
			}
			t.add(row...)
		}
	}
	if len(t.rows) > 0 {
		d.section(headModules)
		d.show(t)
	}
}
