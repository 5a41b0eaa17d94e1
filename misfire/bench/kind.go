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
			How: "one of " + looks() + ", and what else was seen", Caution: []string{cautionSpark}, judge: judgeLook},
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
		{Key: "injector", Part: Injector, Quantity: Resistance, Name: "injector", Unit: "ohm", Each: true, Variants: []Variant{HighImpedance, LowImpedance, Direct},
			dimension: resistance, most: 1e9, open: true, How: "across its pins, connector off", Caution: []string{cautionInjector}, judge: judgeInjector},
		{Key: "injector-drop", Part: Injector, Quantity: PressureDrop, Name: "injector pressure drop", Unit: "kPa", Each: true, dimension: pressure, most: 5000,
			How: "fall of the rail's pressure for one fixed pulse", Caution: []string{cautionFuel}, judge: judgeInjectorDrop},
		{Key: "compression", Part: Compression, Quantity: Dry, Name: "compression", Unit: "kPa", Each: true, dimension: pressure, most: 10000,
			How: "engine warm, throttle open, all plugs out, four or more strokes", Caution: []string{cautionCompression}, judge: judgeCompression},
		{Key: "compression-oil", Part: Compression, Quantity: Oiled, Name: "compression with oil", Unit: "kPa", Each: true, dimension: pressure, most: 10000,
			How: "the same after about 15 ml of oil", Caution: []string{cautionCompression}, judge: judgeOiled},
		{Key: "crank-speed", Part: Compression, Quantity: CrankSpeed, Name: "cranking speed", Unit: "rpm", Each: true, dimension: turning, most: 2000,
			How: "while compression is measured, battery charger on", Caution: []string{cautionCompression}, judge: judgeCrankSpeed},
		{Key: "leakdown", Part: LeakDown, Quantity: Leakage, Name: "leak-down", Unit: "%", Each: true, dimension: percent, most: 100,
			How: "engine warm, the cylinder at its top dead centre of firing", Caution: []string{cautionAir}, judge: judgeLeakDown},
		{Key: "balance", Part: Balance, Quantity: Drop, Name: "balance drop", Unit: "rpm", Each: true, dimension: turning, least: -2000, most: 2000,
			How: "'stumble watch --balance' measures it", Caution: []string{cautionSpark, cautionMoving, cautionCatalyst}, judge: judgeBalance},
		{Key: "fuel-pressure", Part: Fuel, Quantity: Pressure, Name: "fuel pressure", Unit: "kPa", dimension: pressure, most: 50000,
			How: "at the rail, over the air's", Caution: []string{cautionFuel}, judge: judgeFuelPressure},
		{Key: "fuel-hold", Part: Fuel, Quantity: Hold, Name: "fuel pressure lost in 5 minutes", Unit: "kPa", dimension: pressure, most: 50000,
			How: "five minutes after the pump stopped", Caution: []string{cautionFuel}, judge: judgeHold},
		{Key: "battery", Part: Battery, Quantity: Resting, Name: "battery at rest", Unit: "V", dimension: voltage, most: 60,
			How: "engine off, an hour after running", judge: judgeResting},
		{Key: "battery-cranking", Part: Battery, Quantity: Cranking, Name: "battery while cranking", Unit: "V", dimension: voltage, most: 60,
			How: "the lowest while the starter turns", Caution: []string{cautionMoving}, judge: judgeCranking},
		{Key: "charging", Part: Battery, Quantity: Charging, Name: "charging voltage", Unit: "V", dimension: voltage, most: 60,
			How: "engine running, loads off", Caution: []string{cautionMoving}, judge: judgeCharging},
		{Key: "ground", Part: Ground, Quantity: Drop, Name: "ground path", Unit: "V", dimension: voltage, most: 60,
			How: "engine block to battery minus, while cranking", Caution: []string{cautionMoving}, judge: judgeGround},
		{Key: "vacuum", Part: Engine, Quantity: Vacuum, Name: "manifold vacuum", Unit: "kPa", dimension: pressure, most: 110,
			How: "below the air's pressure, warm idle", Caution: []string{cautionMoving}, judge: judgeVacuum},
		{Key: "back-pressure", Part: Exhaust, Quantity: BackPressure, Name: "exhaust back-pressure", Unit: "kPa", dimension: pressure, most: 500,
			How: "over the air's, at 2,500 rpm", Caution: []string{cautionMoving}, judge: judgeBackPressure},
	}
}

// Cautions, a sentence each.
const (
	cautionSpark       = "Ignition voltage kills: engine and key off before a wire, plug or coil is touched; a spark tester is clipped to ground, never held."
	cautionMoving      = "Keep clear of fan, belts and hot exhaust; run the engine only outdoors or with extraction."
	cautionInjector    = "Key off. The drive voltage of direct injectors is dangerous: never measure or pierce their circuit live."
	cautionFuel        = "Fuel under pressure burns and, in direct injection, kills: relieve it by the maker's manual before a line is opened; no flame or spark near."
	cautionCompression = "Disable fuel and spark as the maker's manual says; cranking may inject fuel all the same; keep clear of belts and fan."
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
	meant := ""
	if len(near) > 0 {
		meant = "; perhaps " + strings.Join(near, " or ") + " is meant"
	}
	return Kind{}, fmt.Errorf("there is no kind of reading %q%s; 'stumble bench kinds' lists them", shortened(key), meant)
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
