package report

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"

	"stumble/obd"
)

// Titles and section heads.
const (
	titleCodes    = "Trouble codes"
	titleIntake   = "Intake"
	headCodes     = "What the codes mean"
	headReadiness = "The car's own checks"
	headCounts    = "Misses counted by the car"
	headTests     = "Other on-board tests"
	headTrims     = "Fuel trims"
	headModules   = "Control modules"
	headUnread    = "Not read"
)

func headFrame(c obd.Code) string { return fmt.Sprintf("The moment %v was stored", c) }

// How lines of CodeReport.Unread begin, by what they are about; package vehicle writes them.
const (
	unreadStored    = "stored codes"
	unreadPending   = "pending codes"
	unreadPermanent = "permanent codes"
	unreadFrame     = "freeze frame"
)

// Column titles.
const (
	colList        = "list"
	colCodes       = "codes"
	colMeaning     = "what being in it means"
	colReading     = "reading"
	colValue       = "value"
	colNumber      = "no."
	colMonitor     = "monitor"
	colSinceClear  = "since last clear"
	colThisCycle   = "this drive"
	colCylinder    = "cylinder"
	colShare       = "share"
	colAverage     = "ten-drive average"
	colRemark      = "remark"
	colTest        = "test"
	colAllowed     = "allowed"
	colBank        = "bank"
	colShort       = "short-term"
	colLong        = "long-term"
	colTogether    = "together"
	colReads       = "reads as"
	colModule      = "module"
	colCalibration = "calibration"
	colCVN         = "CVN"
	colName        = "name"
)

// Names of facts about the vehicle.
const (
	factVIN      = "Vehicle number"
	factAt       = "Read at"
	factAdapter  = "Adapter"
	factProtocol = "Bus"
	factVoltage  = "Supply voltage"
	factEngine   = "Engine"
	factLamp     = "Warning lamp"
	factCleared  = "Codes cleared"
)

// Single words and short answers.
const (
	wordNone        = "none"
	wordNotTold     = "not told"
	wordNotRead     = "not read"
	wordPerhapsMore = "perhaps more: not wholly read"
	wordOlder       = "this bus is older than they are"
	wordNoNumber    = "no number"
	wordComplete    = "complete"
	wordIncomplete  = "not complete"
	wordResting     = "does not run"
	wordStored      = "stored"
	wordPending     = "pending"
	wordPermanent   = "permanent"
	wordAtRest      = "car at rest"
	wordRunningAt   = "running at "
	wordStandsStill = "not running"
	wordAgo         = " ago"
)

// What the three lists mean (SAE J1979; 13 CCR 1968.2 (d)(2.2), (d)(2.5), from memory in part).
const (
	meaningStored    = "confirmed by the car's rules; may be months old"
	meaningPending   = "seen, not yet confirmed; goes when it does not come back"
	meaningPermanent = "no tool can clear it; the car drops it when its own check has passed"
)

// Sentences.
const (
	cautionClear = "Do not clear codes before all this is saved. Clearing destroys the evidence: stored and pending codes, " +
		"freeze frames, the state of the car's own checks, and its counts of misses. Permanent codes stay."
	sayNoCodes = "No codes: every list was read, and every list is empty. An engine can still miss too rarely for a code to be due."
	sayNobody  = "No control module told its codes. There may be any number of them."
	sayNoFrame = "No freeze frame is stored."
	saySimilar = "To judge a repair, run the engine like this again: within 375" + firmSpace + "rpm and 20" + firmSpace +
		"% load of these figures, and as warm or as cold."
	sayUnread = "What could not be read is unknown. It does not mean that there was nothing."

	sayNoReadiness    = "The car did not tell how far its own checks have come."
	sayMisfireMonitor = "A complete misfire monitor proves no repair: on many cars it shows complete right after a clear."
	sayLatelyCleared  = "Half or more of the checks that run once a drive are not complete: the codes were cleared, or the " +
		"battery was off, not long ago. Evidence may be gone."

	sayCountsOlder  = "The bus of this car is older than the standard's misfire counts. Codes, fuel trims and the running of the engine are the evidence here."
	sayNoCounts     = "The car told no misfire count for any cylinder."
	sayCountsNoRate = "A count is not a rate: it does not tell for how long or in which gear the engine ran. A count that stands still may be a paused monitor."
	sayAverage      = "The average moves only when a drive ends, and remembers a cured fault for many drives: it halves in about seven."
	sayLastDrive    = "The engine was not running: the counts are those of the last drive until it is started."

	sayFailed = "Outside their limits:"
	sayLegacy = "The numbers of tests and components, and the scale of their values, are this maker's own: see the service information."

	sayNoTrims  = "The car did not tell its fuel trims."
	sayTrims    = "Short and long together: within 5" + firmSpace + "% is ideal, within 10" + firmSpace + "% acceptable. Plus means that fuel is being added, minus that it is taken away."
	sayTrimTrap = "A cylinder that does not burn sends its oxygen to the sensor. A miss alone therefore pushes the trim of its bank " +
		"up; it proves no air leak. Judge the trims where the engine does not miss."
	sayTrimsAtRest = "The engine was not running: these trims steer nothing at the moment."
)

// Remarks that follow a value.
const (
	remarkVINRight    = ", check digit right"
	remarkVINWrong    = ", check digit does not fit: usual outside North America, else a sign that it was misread or altered"
	remarkBatteryLow  = ": low for a battery at rest (12.4 to 12.8" + firmSpace + "V). Charge it first; every other test depends on it"
	remarkNotCharging = ": low for a running engine (13.2 to 14.8" + firmSpace + "V). Look at charging first; every other test depends on it"
	remarkVoltsHigh   = ": too high (13.2 to 14.8" + firmSpace + "V with the engine running). Look at charging first"

	remarkSaturated     = "counter full"
	remarkPerhapsNotRun = "none, or the monitor has not run"

	trimWithin5  = "ideal"
	trimWithin10 = "acceptable"
	trimAdds     = "lean: fuel is added"
	trimTakes    = "rich: fuel is taken away"
)

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}

// and joins words as a sentence does.
func and(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// sentence gives a phrase its capital letter and full stop.
func sentence(s string) string {
	for i, r := range s {
		return string(unicode.ToUpper(r)) + s[i+len(string(r)):] + "."
	}
	return s
}

// inModules and byModules name modules after a phrase; nothing when the adapter does not tell them apart.
func inModules(modules []string) string { return naming(" in ", modules) }
func byModules(modules []string) string { return naming(" by ", modules) }

func naming(preposition string, modules []string) string {
	switch {
	case len(modules) == 1 && modules[0] == obd.Module{}.String():
		return ""
	case len(modules) == 1:
		return preposition + "module " + modules[0]
	}
	return preposition + "modules " + and(modules)
}

func orderLine(steps []string) string {
	return "Order of work: " + strings.Join(steps, ", then ") + "."
}

func frameWords(f *obd.FreezeFrame, words []string) string {
	origin := fmt.Sprintf("Frame %d", f.Frame)
	if f.Module != (obd.Module{}) {
		origin += " of module " + f.Module.String()
	}
	if len(words) == 0 {
		return origin + " holds no reading that tells the moment."
	}
	return origin + ": " + strings.Join(words, ", ") + "."
}

// rounded is a reading to the nearest whole number, with its unit, as prose has it.
func rounded(r *obd.Reading) string { return written(r.Value, 0, r.Unit) }

// phrase is a reading as a sentence has it.
func phrase(r *obd.Reading) string {
	text := rounded(r)
	switch r.ID {
	case obd.PIDLoad:
		return "load " + text
	case obd.PIDCoolant:
		return "coolant " + text
	case obd.PIDIntakeAir:
		return "intake air " + text
	case obd.PIDRunTime:
		return duration(r.Value/60) + " after the start"
	case obd.PIDTimeMIL, obd.PIDTimeClear:
		return duration(r.Value) + " of running"
	case obd.PIDWarmUps:
		return plural(r.Value, "warm-up", "warm-ups")
	case obd.PIDSpeed:
		if r.Value == 0 {
			return wordAtRest
		}
	}
	return text
}

func plural(n float64, one, more string) string {
	if n == 1 {
		more = one
	}
	return quantity(n, obd.Counts) + firmSpace + more
}

// duration writes minutes in the unit that gives the plainest figure.
func duration(minutes float64) string {
	switch {
	case minutes < 2:
		return written(minutes*60, 0, obd.Seconds)
	case minutes < 120:
		return written(minutes, 0, obd.Minutes)
	}
	return written(minutes/60, 0, "h")
}

// litFor tells for how long the lamp has been on.
func litFor(lengths []string) string {
	if len(lengths) == 0 {
		return ""
	}
	return ", for " + and(lengths)
}

func miscountLine(m obd.Module, counted, held int) string {
	return fmt.Sprintf("Module %v counts %s, and its list holds %d.", m, plural(float64(counted), "stored code", "stored codes"), held)
}

func noCounts(p obd.Protocol) string {
	if p != obd.ProtocolUnknown && !p.CAN() {
		return sayCountsOlder
	}
	return sayNoCounts
}

// shareText is a part of the whole in percent; a little is not nothing.
func shareText(share float64) string {
	if share > 0 && share < 0.01 {
		return "under 1" + firmSpace + "%"
	}
	return written(100*share, 0, obd.Percent)
}

func hex(id byte) string { return fmt.Sprintf("%02X", id) }

func whole(n int) string { return strconv.Itoa(n) }

func rawNumber(v float64) string { return quantity(v, obd.NoUnit) + " (scale unknown)" }

func signed(percent float64) string {
	text := strconv.FormatFloat(percent, 'f', 1, 64)
	switch {
	case text == "-0.0":
		text = "0.0"
	case percent > 0 && text != "0.0":
		text = "+" + text
	}
	return text + firmSpace + string(obd.Percent)
}

func atLeast(n float64) string { return quantity(n, obd.Counts) + " or more" }

func overLimit(n float64) string { return "over the car's limit of " + quantity(n, obd.Counts) }

func between(low, high string) string { return low + " to " + high }
func notUnder(low string) string      { return "not under " + low }
func notOver(high string) string      { return "not over " + high }

func legacyName(r *obd.LegacyResult) string { return fmt.Sprintf("test %02X", r.TID) }

func componentName(r *obd.LegacyResult) string { return fmt.Sprintf("component %02X", r.Component) }

func moduleLine(m *obd.ModuleIntake) string {
	name := foreign(m.Name)
	if name == "" {
		return fmt.Sprintf("Module %v:", m.Module)
	}
	return fmt.Sprintf("Module %v, %s:", m.Module, name)
}

func countsOfModule(m obd.Module) string { return fmt.Sprintf("Counted by module %v:", m) }

// driveColumn says which drive the counts are of.
func driveColumn(turns, told bool) string {
	switch {
	case !told:
		return "this or last drive"
	case turns:
		return "this drive"
	}
	return "last drive"
}

func shareWords(cylinders []string, share, total float64) string {
	noun, verb := "Cylinder ", " has "
	if len(cylinders) > 1 {
		noun, verb = "Cylinders ", " have "
	}
	return noun + and(cylinders) + verb + shareText(share) + " of the " + plural(total, "miss", "misses") + " counted in that drive."
}

func passedLine(passed, failed int) string {
	switch {
	case passed == 0:
		return ""
	case failed == 0:
		return "Within their limits: " + plural(float64(passed), "test", "tests") + ", all that have run."
	}
	return "Within their limits: " + plural(float64(passed), "other test", "other tests") + "."
}

func waitingLine(monitors []string) string {
	return "Not run since the last clear: " + strings.Join(monitors, "; ") + "."
}

func openLoopLine(s obd.FuelSystem) string {
	return fmt.Sprintf("The fuel system was not in closed loop (%v): these trims say little.", s)
}
