package bench

import (
	"fmt"
	"slices"
	"strings"
)

// Kind is something that can be measured: a part and a quantity of it.
type Kind struct {
	Key      string // what to type
	Part     Part
	Quantity Quantity
	Name     string // in words
	Unit     string // of Reading.Value; "" where only words tell
	Each     bool   // of each cylinder; else of the whole engine
	Variants []Variant
	Words    []string // that a reading in words is judged by, where it may be told in others, too
	How      string   // to measure it, one sentence
	Caution  []string // what must be read before

	dimension   dimension
	least, most float64 // what a meter can show, in Unit
	open        bool    // the meter may show an open circuit
	judge       func(*judging, *Reading) []Finding
}

// Kinds are all things that can be measured, in the order of the usual work: easiest first.
func Kinds() []Kind {
	return []Kind{
		{Key: "wire", Part: Wire, Quantity: Resistance, Name: "plug wire", Unit: "kohm", Each: true, dimension: resistance, most: 1e6, open: true,
			How: "end to end, off the engine, flexed while the meter is read", Caution: []string{cautionSpark}, judge: judgeWire},
		{Key: "spark", Part: Spark, Quantity: Outcome, Name: "spark test", Each: true, dimension: words,
			How: "good, weak, intermittent or none, and what else was seen", Caution: []string{cautionSpark, cautionMoving}, judge: judgeSpark},
		{Key: "plug-gap", Part: Plug, Quantity: Gap, Name: "plug gap", Unit: "mm", Each: true, dimension: length, most: 50,
			How: "with a feeler gauge, engine cold", Caution: []string{cautionSpark}, judge: judgeGap},
		{Key: "plug-look", Part: Plug, Quantity: Appearance, Name: "plug appearance", Each: true, dimension: words,
			How: "in one or more of the words that it is judged by", Words: wordList(plugLooks()), Caution: []string{cautionSpark}, judge: judgeLook},
		{Key: "plug-resistance", Part: Plug, Quantity: Resistance, Name: "plug resistance", Unit: "kohm", Each: true, Variants: []Variant{Resistor, Plain},
			dimension: resistance, most: 1e6, open: true, How: "terminal to centre electrode, plug out", Caution: []string{cautionSpark}, judge: judgePlug},
		{Key: "plug-insulation", Part: Plug, Quantity: Insulation, Name: "plug insulation", Unit: "Mohm", Each: true, dimension: resistance, most: 1e6, open: true,
			How: "terminal to shell, plug out", Caution: []string{cautionSpark}, judge: judgeInsulation},
		{Key: "coil-primary", Part: Coil, Quantity: Primary, Name: "coil primary", Unit: "ohm", Each: true, dimension: resistance, most: 1e9, open: true,
			How: "across the two low-voltage pins, connector off, the meter's leads taken away", Caution: []string{cautionSpark}, judge: judgePrimary},
		{Key: "coil-secondary", Part: Coil, Quantity: Secondary, Name: "coil secondary", Unit: "kohm", Each: true, dimension: resistance, most: 1e6, open: true,
			How: "tower to tower of a shared coil, else as the maker says", Caution: []string{cautionSpark}, judge: judgeSecondary},
		{Key: "coil-reach", Part: Coil, Quantity: Reach, Name: "coil spark reach", Unit: "mm", Each: true, dimension: length, most: 100,
			How: "the widest fixed gap of a grounded tester that it jumps", Caution: []string{cautionSpark, cautionMoving}, judge: judgeReach},
		{Key: "coil-supply", Part: Coil, Quantity: SupplyDrop, Name: "coil supply below battery", Unit: "V", Each: true, dimension: voltage, most: 60,
			How: "battery voltage less that at the coil's connector, under load", Caution: []string{cautionSpark}, judge: judgeCoilSupply},
		{Key: "coil-ground", Part: Coil, Quantity: GroundOhms, Name: "coil ground path", Unit: "ohm", Each: true, dimension: resistance, most: 1e9, open: true,
			How: "from the ground pin of the coil's connector to battery minus, key off", Caution: []string{cautionSpark}, judge: judgeCoilGround},
		{Key: "coil-voltage", Part: Coil, Quantity: Available, Name: "coil voltage", Unit: "kV", Each: true, dimension: voltage, most: 100,
			How: "the most that it reaches on an adjustable gap of a grounded tester", Caution: []string{cautionSpark, cautionMoving}, judge: judgeAvailable},
		{Key: "firing-voltage", Part: Spark, Quantity: Firing, Name: "firing voltage", Unit: "kV", Each: true, dimension: voltage, most: 100,
			How: "peak of the secondary on a scope, running", Caution: []string{cautionSpark, cautionMoving}, judge: judgeFiring},
		{Key: "spark-time", Part: Spark, Quantity: Duration, Name: "spark duration", Unit: "ms", Each: true, dimension: time, most: 20,
			How: "length of the spark line on a scope, running", Caution: []string{cautionSpark, cautionMoving}, judge: judgeDuration},
		{Key: "injector", Part: Injector, Quantity: Resistance, Name: "injector", Unit: "ohm", Each: true, Variants: []Variant{HighImpedance, LowImpedance, Direct},
			dimension: resistance, most: 1e9, open: true, How: "across its pins, connector off", Caution: []string{cautionInjector}, judge: judgeInjector},
		{Key: "injector-drop", Part: Injector, Quantity: PressureDrop, Name: "injector pressure drop", Unit: "kPa", Each: true, dimension: pressure, most: 5000,
			How: "fall of the rail's pressure for one fixed pulse, coolant below 94 °C", Caution: []string{cautionFuel}, judge: judgeInjectorDrop},
		{Key: "compression", Part: Compression, Quantity: Dry, Name: "compression", Unit: "kPa", Each: true, dimension: pressure, most: 10000,
			How: "engine warm, throttle open, all plugs out, four or more strokes", Caution: []string{cautionCompression}, judge: judgeCompression},
		{Key: "compression-oil", Part: Compression, Quantity: Oiled, Name: "compression with oil", Unit: "kPa", Each: true, dimension: pressure, most: 10000,
			How: "the same after about 15 ml of oil", Caution: []string{cautionCompression}, judge: judgeOiled},
		{Key: "running-idle", Part: Compression, Quantity: RunIdle, Name: "running compression at idle", Unit: "kPa", Each: true, dimension: pressure, most: 10000,
			How: "gauge in one cylinder, its spark grounded and its injector unplugged, the others running", Caution: []string{cautionCompression, cautionMoving}, judge: judgeRunIdle},
		{Key: "running-snap", Part: Compression, Quantity: RunSnap, Name: "running compression, snap throttle", Unit: "kPa", Each: true, dimension: pressure, most: 10000,
			How: "the same as the throttle is snapped open", Caution: []string{cautionCompression, cautionMoving}, judge: judgeRunSnap},
		{Key: "crank-speed", Part: Compression, Quantity: CrankSpeed, Name: "cranking speed", Unit: "rpm", Each: true, dimension: turning, most: 2000,
			How: "while compression is measured, battery charger on", Caution: []string{cautionCompression}, judge: judgeCrankSpeed},
		{Key: "leakdown", Part: LeakDown, Quantity: Leakage, Name: "leak-down", Unit: "%", Each: true, dimension: percent, most: 100,
			How: "engine warm, the cylinder at its top dead centre of firing", Caution: []string{cautionAir}, judge: judgeLeakDown},
		{Key: "balance", Part: Balance, Quantity: Drop, Name: "balance drop", Unit: "rpm", Each: true, dimension: turning, least: -2000, most: 2000,
			How: "'stumble watch --balance' measures it", Caution: []string{cautionSpark, cautionMoving, cautionCatalyst}, judge: judgeBalance},
		{Key: "fuel-pressure", Part: Fuel, Quantity: Pressure, Name: "fuel pressure", Unit: "kPa", Variants: []Variant{HoseOn}, dimension: pressure, most: 50000,
			How: "at the rail, over the air's; a regulator's hose off, or --variant hose-on at idle", Caution: []string{cautionFuel}, judge: judgeFuelPressure},
		{Key: "fuel-hold", Part: Fuel, Quantity: Hold, Name: "fuel pressure lost in 5 minutes", Unit: "kPa", dimension: pressure, most: 50000,
			How: "five minutes after the pump stopped", Caution: []string{cautionFuel}, judge: judgeHold},
		{Key: "fuel-hold-minute", Part: Fuel, Quantity: HoldMinute, Name: "fuel pressure lost in a minute", Unit: "kPa", dimension: pressure, most: 50000,
			How: "one minute after the pump stopped", Caution: []string{cautionFuel}, judge: judgeHoldMinute},
		{Key: "purge-suction", Part: Purge, Quantity: Suction, Name: "suction of the purge valve", Unit: "kPa", dimension: pressure, most: 110,
			How: "at its hose at idle, its plug off", Caution: []string{cautionMoving}, judge: judgePurge},
		{Key: "battery", Part: Battery, Quantity: Resting, Name: "battery at rest", Unit: "V", dimension: voltage, most: 60,
			How: "engine off, an hour after running", judge: judgeResting},
		{Key: "battery-key-on", Part: Battery, Quantity: KeyOn, Name: "battery with the key on", Unit: "V", dimension: voltage, most: 60,
			How: "engine off, key on: it is no battery at rest", judge: judgeKeyOn},
		{Key: "battery-load", Part: Battery, Quantity: Load, Name: "battery under load", Unit: "V", dimension: voltage, most: 60,
			How: "after 15 s of half its cold-cranking current, surface charge taken off; its temperature behind @, as 9.4V@50F", judge: judgeLoad},
		{Key: "battery-cranking", Part: Battery, Quantity: Cranking, Name: "battery while cranking", Unit: "V", dimension: voltage, most: 60,
			How: "the lowest while the starter turns", Caution: []string{cautionMoving}, judge: judgeCranking},
		{Key: "charging", Part: Battery, Quantity: Charging, Name: "charging voltage", Unit: "V", dimension: voltage, most: 60,
			How: "engine running, loads off", Caution: []string{cautionMoving}, judge: judgeCharging},
		{Key: "ground", Part: Ground, Quantity: Drop, Name: "ground path", Unit: "V", dimension: voltage, most: 60,
			How: "engine block to battery minus, while cranking", Caution: []string{cautionMoving}, judge: judgeGround},
		{Key: "vacuum", Part: Engine, Quantity: Vacuum, Name: "manifold vacuum", Unit: "kPa", dimension: pressure, most: 110,
			How: "below the air's pressure, warm idle", Caution: []string{cautionMoving}, judge: judgeVacuum},
		{Key: "vacuum-needle", Part: Engine, Quantity: Needle, Name: "vacuum needle", dimension: words,
			How: "in one or more of the words that it is judged by", Words: wordList(needles()), Caution: []string{cautionMoving}, judge: judgeNeedle},
		{Key: "back-pressure", Part: Exhaust, Quantity: BackPressure, Name: "exhaust back-pressure", Unit: "kPa", dimension: pressure, most: 500,
			How: "over the air's, at 2,000 to 2,500 rpm", Caution: []string{cautionMoving}, judge: judgeBackPressure},
		{Key: "back-pressure-idle", Part: Exhaust, Quantity: BackIdle, Name: "exhaust back-pressure at idle", Unit: "kPa", dimension: pressure, most: 500,
			How: "over the air's, at warm idle", Caution: []string{cautionMoving}, judge: judgeBackIdle},
		{Key: "port-temperature", Part: Exhaust, Quantity: PortHeat, Name: "exhaust port temperature", Unit: "C", Each: true, dimension: heat, least: -50, most: 1200,
			How: "warm idle, all within ten seconds of each other", Caution: []string{cautionMoving}, judge: judgePort},
		{Key: "coolant-hold", Part: Coolant, Quantity: CoolantLoss, Name: "cooling system pressure lost overnight", Unit: "kPa", dimension: pressure, most: 500,
			How: "pumped up to the cap's pressure, engine cold", Caution: []string{cautionHot}, judge: judgeCoolantHold},
	}
}

// Cautions, a sentence each.
const (
	cautionSpark       = "Ignition voltage kills: engine and key off before a wire, plug or coil is touched; a spark tester is clipped to ground, never held."
	cautionMoving      = "Keep clear of fan, belts and hot exhaust; run the engine only outdoors or with extraction."
	cautionInjector    = "Key off. The drive voltage of direct injectors is dangerous: never measure or pierce their circuit live."
	cautionFuel        = "Fuel under pressure burns and, in direct injection, kills: relieve it by the maker's manual before a line is opened; no flame or spark near."
	cautionCompression = "Disable fuel and spark as the maker's manual says; cranking may inject fuel all the same; keep clear of belts and fan."
	cautionHot         = "Never open a hot cooling system: let it cool first."
	cautionAir         = "Compressed air can turn the crank: tools off the pulley, hands off the belts."
	cautionCatalyst    = "A cylinder that is cut fills the catalyst with what it does not burn: seconds only, and let it cool."
)

// FindKind looks a kind up by its key or name, hyphens or none. The error says what it may have been, and where they
// are listed.
func FindKind(key string) (Kind, error) {
	kinds, wanted := Kinds(), plainKey(key)
	if at := slices.IndexFunc(kinds, func(k Kind) bool { return plainKey(k.Key) == wanted || plainKey(k.Name) == wanted }); at >= 0 {
		return kinds[at], nil
	}
	const leastOfAKey = 3
	var near []string
	for _, k := range kinds {
		known := plainKey(k.Key)
		if len(wanted) >= leastOfAKey && (strings.Contains(known, wanted) || strings.Contains(wanted, known)) {
			near = append(near, k.Key)
		}
	}
	if len(near) > 0 {
		return Kind{}, fmt.Errorf("there is no kind of reading %q; perhaps %s is meant; 'stumble bench kinds' lists them", shortened(key), strings.Join(near, " or "))
	}
	return Kind{}, fmt.Errorf("there is no kind of reading %q; 'stumble bench kinds' lists them", shortened(key))
}

// plainKey is a key without what parts its words.
func plainKey(key string) string {
	return strings.NewReplacer("-", "", "_", "", " ", "").Replace(strings.ToLower(key))
}

// KindOf is the kind of a reading; ok is false of one that this program does not know.
func KindOf(p Part, q Quantity) (k Kind, ok bool) {
	kinds := Kinds()
	at := slices.IndexFunc(kinds, func(k Kind) bool { return k.Part == p && k.Quantity == q })
	if at < 0 {
		return Kind{}, false
	}
	return kinds[at], true
}
