package report

import (
	"fmt"

	"stumble/obd"
)

// group sorts codes by the order in which they are shown: misfire first, since that is the complaint.
type group uint8

const (
	groupMisfire group = iota
	groupCircuit
	groupTiming
	groupFuelAir
	groupRest
	groupCatalyst
)

// orderOfWork is the order in which codes are best put right (common practice, no source): what would make
// every other finding doubtful comes first, the usual victim last.
func orderOfWork() []group {
	return []group{groupCircuit, groupTiming, groupFuelAir, groupMisfire, groupRest, groupCatalyst}
}

// groupOf tells a code's group.
func groupOf(c obd.Code) group {
	switch obd.DescribeCode(c).Kind {
	case obd.KindMisfire:
		return groupMisfire
	case obd.KindCoil:
		return groupCircuit
	case obd.KindTiming:
		return groupTiming
	case obd.KindFuel:
		return groupFuelAir
	case obd.KindInjector:
		if ownCorrection(c) || balance(c) {
			return groupFuelAir
		}
		return groupCircuit
	}
	return otherGroup(c)
}

func otherGroup(c obd.Code) group {
	switch {
	case within(c, 0x0560, 0x0563):
		return groupCircuit // supply voltage
	case within(c, 0x0420, 0x0434):
		return groupCatalyst
	case within(c, 0x0000, 0x02FF), within(c, 0x0400, 0x0409), within(c, 0x0505, 0x0507), within(c, 0x2004, 0x2007), c == 0x2279:
		return groupFuelAir
	}
	return groupRest
}

func within(c, low, high obd.Code) bool { return c >= low && c <= high }

// ownCorrection reports the codes of one cylinder's own fuel correction, four a cylinder.
func ownCorrection(c obd.Code) bool { return within(c, 0x029A, 0x02C9) }

// balance reports the third of each three codes P0261 to P0296. Their numbers count in tens.
func balance(c obd.Code) bool {
	number := int(c>>8&0xF)*100 + int(c>>4&0xF)*10 + int(c&0xF)
	return within(c, 0x0261, 0x0296) && (number-261)%3 == 2
}

// effect says what a code does to a misfire case; "" when nothing is known to say. present tells which
// other codes the car holds. The advice is common practice without a source, that on catalysts and on lean
// readings under misfire trade training.
func effect(c obd.Code, present func(obd.Code) bool) string {
	info := obd.DescribeCode(c)
	if cylinder, ok := c.MisfireCylinder(); ok {
		return fmt.Sprintf("Start at cylinder %d; check that it is not one half of a shared coil.", cylinder)
	}
	switch info.Kind {
	case obd.KindMisfire:
		return misfireEffect(c)
	case obd.KindCoil:
		return effectCircuit
	case obd.KindTiming:
		return timingEffect(c)
	case obd.KindFuel, obd.KindInjector:
		return fuelEffect(c, info.Cylinder, present)
	}
	return otherEffect(c, info.Known)
}

const effectCircuit = "An electrical fault, and stronger evidence than a misfire code: put it right first."

func misfireEffect(c obd.Code) string {
	switch c {
	case 0x0300:
		return "Look for a common cause first: fuel, air, exhaust recirculation, timing, supply voltage. " +
			"One cylinder may still stand behind it: the counts of each cylinder tell."
	case 0x0313:
		return "Fill the tank, and see whether the misses ever come back."
	case 0x0314:
		return "The counts of each cylinder, or a cut test, show which one it is."
	case 0x0315:
		return "Have the crank pattern learned before believing any count."
	case 0x0316:
		return "Think of the cold start: dripping injector, coolant seep, fouled plug, too little fuel at cranking."
	case 0x0363:
		return "While the fuel is shut off the counts do not describe the fault: restart the engine before counting."
	}
	return ""
}

func timingEffect(c obd.Code) string {
	if within(c, 0x0008, 0x0025) {
		return "Look at chain or belt, oil and cam phaser."
	}
	return "May be the cause, or may feign the misses: put it right first."
}

func fuelEffect(c obd.Code, cylinder int, present func(obd.Code) bool) string {
	switch {
	case ownCorrection(c):
		return fmt.Sprintf("Points straight at the injector of cylinder %d.", cylinder)
	case balance(c):
		return fmt.Sprintf("Cylinder %d does too little or too much work: see whether it is also the one that misses.", cylinder)
	case obd.DescribeCode(c).Kind == obd.KindInjector:
		return effectCircuit
	case c == 0x0174 && present(0x0171):
		return "Goes with P0171."
	case c == 0x0171 || c == 0x0174:
		return leanEffect(present(0x0174) && present(0x0171))
	case c == 0x0172 || c == 0x0175:
		return "Look for a leaking injector, purge flow, high fuel pressure or a faulty sensor."
	}
	return "Bears on a whole bank or on all cylinders at once."
}

func leanEffect(both bool) string {
	const trap = " Misses themselves look lean to the sensor: judge the mixture where the engine does not miss."
	if both {
		return "Both banks are lean: look at what they share, the air supply or the fuel supply." + trap
	}
	return "One bank is named: look for an air leak or a faulty sensor there; where the engine has one bank only, " +
		"also at fuel pressure and air meter." + trap
}

func otherEffect(c obd.Code, known bool) string {
	switch {
	case within(c, 0x0100, 0x0109):
		return "Wrong fuelling on all cylinders."
	case within(c, 0x0324, 0x0334):
		return "The spark is pulled back, and power is poor."
	case within(c, 0x0400, 0x0406):
		return "Too much of it at idle gives a rough idle and misses on several cylinders, with trims near normal."
	case c == 0x0420, c == 0x0430:
		return "Cure the misfire first, then judge the catalyst."
	case within(c, 0x0560, 0x0563):
		return "Weak spark and late injectors: charge the battery and check again, before all else."
	case !known:
		return "Not among the codes that are known to matter to a misfire."
	}
	return ""
}
