package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"stumble/obd"
)

// readingName names a reading in plain words.
func readingName(r *obd.Reading) string {
	pid, known := obd.DescribePID(r.ID)
	if !known || int(r.Part) >= len(pid.Parts) {
		return fmt.Sprintf("parameter %02X", r.ID)
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

// readingState is the word for a reading that is a state rather than a number; "" for numbers.
func readingState(r *obd.Reading) string {
	switch {
	case r.ID == obd.PIDFuelSystem:
		return obd.FuelSystem(r.Value).String()
	case r.ID == obd.PIDStatus && r.Part == obd.PartMIL:
		return onOff(r.Value != 0)
	case r.ID == obd.PIDAuxiliary && r.Part != obd.PartRecommendedGear:
		return yesNo(r.Value != 0)
	}
	return ""
}

// readingText is a reading's value with its unit, or its state.
func readingText(r *obd.Reading) string {
	if state := readingState(r); state != "" {
		return state
	}
	return quantity(r.Value, r.Unit)
}

// quantity writes a number with as many decimals as its unit bears, and the unit.
func quantity(v float64, unit obd.Unit) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return wordNoNumber
	}
	text := strconv.FormatFloat(v, 'f', decimals(v, unit), 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-")
	}
	switch unit {
	case obd.NoUnit, obd.Counts, obd.UnscaledCounts, obd.Ratio, obd.OnOff:
		return text
	case obd.Degrees:
		return text + string(unit)
	}
	return text + firmSpace + string(unit)
}

// decimals is how many decimals of a value mean something: none in whole numbers and in units that are
// read whole, else about three figures.
func decimals(v float64, unit obd.Unit) int {
	switch {
	case unit == obd.RPM, unit == obd.Celsius, v == math.Trunc(v):
		return 0
	case unit == obd.Ratio:
		return 3
	case math.Abs(v) >= 100:
		return 0
	case math.Abs(v) >= 10:
		return 1
	case math.Abs(v) >= 1:
		return 2
	}
	return 3
}

// find gives the first reading of a parameter's part.
func find(readings []obd.Reading, pid, part byte) (*obd.Reading, bool) {
	for i := range readings {
		if r := &readings[i]; r.ID == pid && r.Part == part && !math.IsNaN(r.Value) {
			return r, true
		}
	}
	return nil, false
}
