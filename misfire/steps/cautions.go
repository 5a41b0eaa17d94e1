package steps

import "stumble/misfire/gear"

// Cautions is what must be read before a test of these steps begins, a sentence each.
func Cautions(plan []Step) []string {
	lines := []string{
		"Spark is tens of thousands of volts, deadly to people with pacemakers or heart trouble: touch no wire or coil of a running engine.",
		"Keep hands, hair and clothing clear of fan, belts and exhaust; a fan can start by itself. Never open a hot cooling system.",
		"Carbon monoxide kills: run the engine only outdoors or with extraction.",
		"Misfire fills the catalyst with raw fuel: it can glow, and set grass or the car alight. When the lamp flashes or the screen says so, ease off, stop clear of anything that burns, let it cool.",
		"A hybrid's engine can start by itself; its high-voltage parts are for trained people only.",
	}
	atRest, onRoad := false, false
	for i := range plan {
		atRest = atRest || plan[i].Gear.Loaded()
		onRoad = onRoad || plan[i].Gear == gear.Moving
	}
	if atRest {
		lines = append(lines, "In gear at rest: parking brake on, chocks at both sides, service brake held, driver in the seat, nobody in front or behind. "+
			"No gas against the brake: it heats the converter within seconds.")
	}
	if onRoad {
		lines = append(lines, "On the road: the driver drives, a second person reads the screen; obey the law; break the test off whenever traffic asks for it.")
	}
	return append(lines, "The maker's manual and local law come first.")
}
