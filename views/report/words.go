package report

import (
	"fmt"
	"math"
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
	colCVN         = "checksum"
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
	wordLoad        = "load "
	wordCoolant     = "coolant "
	wordIntakeAir   = "intake air "
	wordSinceStart  = "engine started before "
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

func inModules(what string, modules []string) string {
	if len(modules) == 1 {
		return what + " in module " + modules[0]
	}
	return what + " in modules " + and(modules)
}

func orderLine(steps []string) string {
	return "Order of work: " + strings.Join(steps, ", then ") + "."
}

func frameWords(f *obd.FreezeFrame, words []string) string {
	origin := fmt.Sprintf("Frame %d of module %v", f.Frame, f.Module)
	if len(words) == 0 {
		return origin + " holds no reading that tells the moment."
	}
	return origin + ": " + strings.Join(words, ", ") + "."
}

// roundText is a reading to the nearest whole number, with its unit, as prose has it.
func roundText(r *obd.Reading) string { return quantity(math.Round(r.Value), r.Unit) }

// counted names what a reading counts, where its unit does not.
func counted(pid byte, n float64) string {
	switch {
	case pid == obd.PIDTimeClear:
		return " of running"
	case pid != obd.PIDWarmUps:
		return ""
	case n == 1:
		return " warm-up"
	}
	return " warm-ups"
}

func wordLitFor(length string) string { return length + " with it on" }

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

func shareWords(cylinders []string, percent int) string {
	noun, verb := "Cylinder ", " has "
	if len(cylinders) > 1 {
		noun, verb = "Cylinders ", " have "
	}
	return fmt.Sprintf("%s%s%s%d%s%% of the misses counted in that drive.", noun, and(cylinders), verb, percent, firmSpace)
}

func passedLine(passed, failed int) string {
	switch {
	case passed == 0:
		return ""
	case failed == 0 && passed == 1:
		return "The one test that has run is within its limits."
	case failed == 0:
		return fmt.Sprintf("All %d tests that have run are within their limits.", passed)
	case passed == 1:
		return "One other test is within its limits."
	}
	return fmt.Sprintf("%d other tests are within their limits.", passed)
}

func waitingLine(monitors []string) string {
	return "Not run since the last clear: " + strings.Join(monitors, "; ") + "."
}

func openLoopLine(s obd.FuelSystem) string {
	return fmt.Sprintf("The fuel system was not in closed loop (%v): these trims say little.", s)
}
