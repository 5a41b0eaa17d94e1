package balance

// Cautions is what must be read before the test, a sentence each.
func Cautions() []string {
	return []string{
		"Cut the injector, by its connector. Never pull a plug wire or a coil of a running engine: spark is tens of thousands of volts, deadly to people " +
			"with pacemakers or heart trouble, and unburnt fuel heats the catalyst.",
		"Only port injectors whose connector is reached without leaning over anything that turns or is hot. Never unplug a direct injector: its drive " +
			"voltage is dangerous. Where the maker's manual forbids it or has a test of its own, do that.",
		"A cylinder stays off for ten seconds at the most, and the catalyst cools between cuts. When the lamp flashes keep it short, or stop; park clear " +
			"of anything that burns.",
		"Park or Neutral, parking brake on, wheels chocked, a second person in the driver's seat. Keep hands, hair and sleeves clear of fan, belts and exhaust.",
		"Carbon monoxide kills: run the engine only outdoors or with extraction.",
		"A hybrid's engine can start and stop by itself: leave it to trained people.",
		"The controller will count misses and may store codes: save an intake first. The maker's manual and local law come first.",
	}
}
