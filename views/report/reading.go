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
	return written(r.Value, decimals(r.Unit), r.Unit)
}

// quantity writes a number with about three figures, and its unit.
func quantity(v float64, unit obd.Unit) string {
	size, places := math.Abs(v), 3
	switch {
	case v == math.Trunc(v), size >= 100:
		places = 0
	case size >= 10:
		places = 1
	case size >= 1:
		places = 2
	}
	return written(v, places, unit)
}

// written writes a number with so many decimals, and its unit.
func written(v float64, places int, unit obd.Unit) string {
	if finite(v) == nil {
		return wordNoNumber
	}
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
	return text + firmSpace + string(unit)
}

// decimals is how many decimals a technician reads of live data in a unit.
func decimals(unit obd.Unit) int {
	switch unit {
	case obd.Percent, obd.Degrees, obd.LitresHour:
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
		if r := &readings[i]; r.ID == pid && r.Part == part && finite(r.Value) != nil {
			return r, true
		}
	}
	return nil, false
}
