package report

import (
	"math"
	"strconv"
	"strings"

	"stumble/obd"
	"stumble/views/wrap"
)

// ReadingName names a reading in plain words; "" when its parameter is not known.
func ReadingName(r *obd.Reading) string {
	pid, known := obd.DescribePID(r.ID)
	if !known || int(r.Part) >= len(pid.Parts) {
		return ""
	}
	part := pid.Parts[r.Part].Name
	base, trim := strings.CutSuffix(pid.Name, " bank 1")
	if !trim {
		base, trim = strings.CutSuffix(pid.Name, " bank 2")
	}
	switch {
	case len(pid.Parts) == 1:
		return pid.Name
	case trim: // the parts are banks
		return base + " " + part
	case strings.HasSuffix(pid.Name, "oxygen sensor"):
		return pid.Name + ", " + part
	}
	return part
}

// nameOf names a reading in any case.
func (w *words) nameOf(r *obd.Reading) string {
	if name := ReadingName(r); name != "" {
		return name
	}
	return w.tell("name-parameter", Hex(r.ID))
}

// ReadingState is what a reading says that is a state rather than a number, as programs read it; "" for numbers.
func ReadingState(r *obd.Reading) string {
	switch {
	case r.ID == obd.PIDFuelSystem:
		return obd.FuelSystem(r.Value).String()
	case r.ID == obd.PIDStatus && r.Part == obd.PartMIL:
		return oneOf(r.Value != 0, stateOn, stateOff)
	case r.ID == obd.PIDAuxiliary && r.Part != obd.PartRecommendedGear:
		return oneOf(r.Value != 0, stateYes, stateNo)
	}
	return ""
}

// The states that a reading may have by itself.
const (
	stateOn  = "on"
	stateOff = "off"
	stateYes = "yes"
	stateNo  = "no"
)

func oneOf(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}

// rounded is a reading to the nearest whole number, with its unit, as prose has it.
func (w *words) rounded(r *obd.Reading) string { return w.written(r.Value, 0, r.Unit) }

// readingText is a reading's value with its unit, or its state.
func (w *words) readingText(r *obd.Reading) string {
	switch state := ReadingState(r); state {
	case "":
	case stateOn, stateOff:
		return w.onOff(state == stateOn)
	case stateYes, stateNo:
		return w.yesNo(state == stateYes)
	default:
		return state
	}
	v, unit := w.measure(r.Value, r.Unit)
	if r.ID == obd.PIDManifold || r.ID == obd.PIDBarometer {
		v, unit = w.mercury(r.Value)
	}
	return w.written(v, decimals(unit), unit)
}

// quantity writes a number with about three figures, and its unit.
func (w *words) quantity(v float64, unit obd.Unit) string {
	v, unit = w.measure(v, unit)
	size, places := math.Abs(v), 3
	switch {
	case v == math.Trunc(v), size >= 100:
		places = 0
	case size >= 10:
		places = 1
	case size >= 1:
		places = 2
	}
	return w.written(v, places, unit)
}

// written writes a number with so many decimals, and its unit.
func (w *words) written(v float64, places int, unit obd.Unit) string {
	if !finite(v) {
		return w.tell("word-no-number")
	}
	v, unit = w.measure(v, unit)
	text := strconv.FormatFloat(v, 'f', places, 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	switch unit {
	case obd.NoUnit, obd.Counts, obd.UnscaledCounts, obd.Ratio, obd.OnOff:
		return text
	case obd.Degrees:
		return text + string(unit)
	}
	return text + wrap.FirmSpace + string(unit)
}

// decimals is how many decimals a technician reads of live data in a unit.
func decimals(unit obd.Unit) int {
	switch unit {
	case obd.Percent, obd.Degrees, obd.LitresHour, psi, inchesOfMercury:
		return 1
	case obd.Volts, obd.GramsSecond, obd.Milliamperes:
		return 2
	case obd.Ratio:
		return 3
	}
	return 0
}

// find gives the first reading of a parameter's part that is a number.
func find(readings []obd.Reading, pid, part byte) (*obd.Reading, bool) {
	for i := range readings {
		if r := &readings[i]; r.ID == pid && r.Part == part && finite(r.Value) {
			return r, true
		}
	}
	return nil, false
}
