package report

import "stumble/obd"

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
// other codes the car holds.
func (w *words) effect(c obd.Code, present func(obd.Code) bool) string {
	info := obd.DescribeCode(c)
	if cylinder, ok := c.MisfireCylinder(); ok {
		return w.tell("effect-cylinder", cylinder)
	}
	switch info.Kind {
	case obd.KindMisfire:
		return w.misfireEffect(c)
	case obd.KindCoil:
		return w.tell("effect-circuit")
	case obd.KindTiming:
		return w.timingEffect(c)
	case obd.KindFuel, obd.KindInjector:
		return w.fuelEffect(c, info.Cylinder, present)
	}
	return w.otherEffect(c, info.Known)
}

func (w *words) misfireEffect(c obd.Code) string {
	switch c {
	case 0x0300:
		return w.tell("effect-many")
	case 0x0313:
		return w.tell("effect-low-tank")
	case 0x0314:
		return w.tell("effect-unnamed")
	case 0x0315:
		return w.tell("effect-unlearned")
	case 0x0316:
		return w.tell("effect-first-turns")
	case 0x0363:
		return w.tell("effect-fuel-shut")
	}
	return ""
}

func (w *words) timingEffect(c obd.Code) string {
	if within(c, 0x0008, 0x0025) {
		return w.tell("effect-cam")
	}
	return w.tell("effect-crank")
}

func (w *words) fuelEffect(c obd.Code, cylinder int, present func(obd.Code) bool) string {
	const leanBank1, leanBank2 obd.Code = 0x0171, 0x0174
	switch {
	case ownCorrection(c):
		return w.tell("effect-own-correction", cylinder)
	case balance(c):
		return w.tell("effect-balance", cylinder)
	case obd.DescribeCode(c).Kind == obd.KindInjector:
		return w.tell("effect-circuit")
	case c == leanBank2 && present(leanBank1):
		return w.tell("effect-goes-with", leanBank1)
	case c == leanBank1 && present(leanBank2):
		return w.tell("effect-lean-both")
	case c == leanBank1 || c == leanBank2:
		return w.tell("effect-lean-one")
	case c == 0x0172 || c == 0x0175:
		return w.tell("effect-rich")
	}
	return w.tell("effect-bank")
}

func (w *words) otherEffect(c obd.Code, known bool) string {
	switch {
	case within(c, 0x0100, 0x0109):
		return w.tell("effect-air")
	case within(c, 0x0324, 0x0334):
		return w.tell("effect-knock")
	case within(c, 0x0400, 0x0406):
		return w.tell("effect-recirculation")
	case c == 0x0420, c == 0x0430:
		return w.tell("effect-catalyst")
	case within(c, 0x0560, 0x0563):
		return w.tell("effect-voltage")
	case !known:
		return w.tell("effect-unknown")
	}
	return ""
}
