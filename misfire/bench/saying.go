package bench

// Saying is what a finding says, as a code: the words are the reader's. What its figures are stands beside each.
type Saying uint8

// What findings say.
const (
	Nothing Saying = iota // no hint
	NoRule
	MakerNeedsLength
	MakerWithin
	MakerBelow
	MakerAbove
	Within
	Below
	Above
	OpenWithin
	StandsOut
	TwoDiffer
	OutOfStep
	InStep
	LengthsUnknown
	Moves
	MovesALittle
	HeatsOpen
	HeatsOff
	HeatsRight
	BalanceFew
	BalanceGood
	BalanceBad
	BalanceDoubt
	DriversOpen
	WindingOpen
	DriverInside
	PrimaryShort
	PrimaryAlike
	CoilClear
	SecondaryAlone
	SecondaryOpen
	SecondaryOutside
	SecondaryInStep
	SecondaryUnusual
	WeakSpark
	SupplyResists
	GroundResists
	CompressionFloor
	CompressionLow
	CompressionHigh
	RatioBad
	RatioLenient
	RatioStrict
	RatioGood
	OilNeedsDry
	OilNotLow
	OilRings
	OilValves
	RunningNeedsDry
	RunningGood
	RunningOff
	RunningDead
	CrankUneven
	LeakBad
	LeakHigh
	LeakFair
	LeakGood
	LeakWhere
	LeakSpread
	InjectorOpen
	InjectorOtherType
	InjectorNeither
	InjectorShort
	InjectorAlone
	InjectorHigh
	FlowUnknown
	InjectorOff
	InjectorInStep
	DropFew
	DropLess
	DropMore
	DropGood
	PlugOpen
	PlugPlainHigh
	PlugPlainRight
	PlugWhich
	PlugFarAbove
	PlugOutside
	PlugWithin
	PlugsAlike
	InsulationBad
	InsulationLow
	GapUnknown
	GapOutside
	GapWorn
	GapRegap
	GapOdd
	GapTwo
	LookKept
	LookNormal
	LookSooty
	LookOily
	LookWet
	LookWhite
	LookDeposit
	LookCracked
	LookTracked
	LookWorn
	LookMelted
	LookLoose
	LookBridged
	SparkGood
	SparkWeak
	SparkAtTimes
	SparkNone
	SparkOverBreak
	DirectRail
	FuelLow
	FuelHigh
	FuelLeaks
	NotAtRest
	ChargeFirst
	KeyIsOn
	CrankingLow
	LoadLow
	LoadGood
	Managed
	BeyondManaged
	CleanGround
	VacuumLow
	VacuumFair
	Restricted
	BackSuspect
	PurgeSucks
	CoolantLeaks
	PortFew
	PortCold
	PortHot
	PortGood
	FiringHigh
	FiringLow
	FiringOdd
	SparkShort
	SparkLong
	NeedleSteady
	NeedleFlick
	NeedleRegular
	NeedleSwingIdle
	NeedleSwingSpeed
	NeedleDrop
	NeedleDrift
	NeedleSinks
	NeedleKept
	WireOpen
	WireAsGood
	OpenWire
	WireSpiral
	WireSpiralSet
	WireSpiralCompare
	WireOtherKind
	WireWholeHigh
	WireWholeGood
	WireOuter
	WireLenient
	WireStrict
	WireRight
)

// codes are the sayings as the journal keeps them: none is ever given to another.
func codes() []string {
	return []string{
		Nothing:           "",
		NoRule:            "no_rule",
		MakerNeedsLength:  "maker_needs_length",
		MakerWithin:       "maker_within",
		MakerBelow:        "maker_below",
		MakerAbove:        "maker_above",
		Within:            "within",
		Below:             "below",
		Above:             "above",
		OpenWithin:        "open_within",
		StandsOut:         "stands_out",
		TwoDiffer:         "two_differ",
		OutOfStep:         "out_of_step",
		InStep:            "in_step",
		LengthsUnknown:    "lengths_unknown",
		Moves:             "moves",
		MovesALittle:      "moves_a_little",
		HeatsOpen:         "heats_open",
		HeatsOff:          "heats_off",
		HeatsRight:        "heats_right",
		BalanceFew:        "balance_few",
		BalanceGood:       "balance_good",
		BalanceBad:        "balance_bad",
		BalanceDoubt:      "balance_doubt",
		DriversOpen:       "drivers_open",
		WindingOpen:       "winding_open",
		DriverInside:      "driver_inside",
		PrimaryShort:      "primary_short",
		PrimaryAlike:      "primary_alike",
		CoilClear:         "coil_clear",
		SecondaryAlone:    "secondary_alone",
		SecondaryOpen:     "secondary_open",
		SecondaryOutside:  "secondary_outside",
		SecondaryInStep:   "secondary_in_step",
		SecondaryUnusual:  "secondary_unusual",
		WeakSpark:         "weak_spark",
		SupplyResists:     "supply_resists",
		GroundResists:     "ground_resists",
		CompressionFloor:  "compression_floor",
		CompressionLow:    "compression_low",
		CompressionHigh:   "compression_high",
		RatioBad:          "ratio_bad",
		RatioLenient:      "ratio_lenient",
		RatioStrict:       "ratio_strict",
		RatioGood:         "ratio_good",
		OilNeedsDry:       "oil_needs_dry",
		OilNotLow:         "oil_not_low",
		OilRings:          "oil_rings",
		OilValves:         "oil_valves",
		RunningNeedsDry:   "running_needs_dry",
		RunningGood:       "running_good",
		RunningOff:        "running_off",
		RunningDead:       "running_dead",
		CrankUneven:       "crank_uneven",
		LeakBad:           "leak_bad",
		LeakHigh:          "leak_high",
		LeakFair:          "leak_fair",
		LeakGood:          "leak_good",
		LeakWhere:         "leak_where",
		LeakSpread:        "leak_spread",
		InjectorOpen:      "injector_open",
		InjectorOtherType: "injector_other_type",
		InjectorNeither:   "injector_neither",
		InjectorShort:     "injector_short",
		InjectorAlone:     "injector_alone",
		InjectorHigh:      "injector_high",
		FlowUnknown:       "flow_unknown",
		InjectorOff:       "injector_off",
		InjectorInStep:    "injector_in_step",
		DropFew:           "drop_few",
		DropLess:          "drop_less",
		DropMore:          "drop_more",
		DropGood:          "drop_good",
		PlugOpen:          "plug_open",
		PlugPlainHigh:     "plug_plain_high",
		PlugPlainRight:    "plug_plain_right",
		PlugWhich:         "plug_which",
		PlugFarAbove:      "plug_far_above",
		PlugOutside:       "plug_outside",
		PlugWithin:        "plug_within",
		PlugsAlike:        "plugs_alike",
		InsulationBad:     "insulation_bad",
		InsulationLow:     "insulation_low",
		GapUnknown:        "gap_unknown",
		GapOutside:        "gap_outside",
		GapWorn:           "gap_worn",
		GapRegap:          "gap_regap",
		GapOdd:            "gap_odd",
		GapTwo:            "gap_two",
		LookKept:          "look_kept",
		LookNormal:        "look_normal",
		LookSooty:         "look_sooty",
		LookOily:          "look_oily",
		LookWet:           "look_wet",
		LookWhite:         "look_white",
		LookDeposit:       "look_deposit",
		LookCracked:       "look_cracked",
		LookTracked:       "look_tracked",
		LookWorn:          "look_worn",
		LookMelted:        "look_melted",
		LookLoose:         "look_loose",
		LookBridged:       "look_bridged",
		SparkGood:         "spark_good",
		SparkWeak:         "spark_weak",
		SparkAtTimes:      "spark_at_times",
		SparkNone:         "spark_none",
		SparkOverBreak:    "spark_over_break",
		DirectRail:        "direct_rail",
		FuelLow:           "fuel_low",
		FuelHigh:          "fuel_high",
		FuelLeaks:         "fuel_leaks",
		NotAtRest:         "not_at_rest",
		ChargeFirst:       "charge_first",
		KeyIsOn:           "key_is_on",
		CrankingLow:       "cranking_low",
		LoadLow:           "load_low",
		LoadGood:          "load_good",
		Managed:           "managed",
		BeyondManaged:     "beyond_managed",
		CleanGround:       "clean_ground",
		VacuumLow:         "vacuum_low",
		VacuumFair:        "vacuum_fair",
		Restricted:        "restricted",
		BackSuspect:       "back_suspect",
		PurgeSucks:        "purge_sucks",
		CoolantLeaks:      "coolant_leaks",
		PortFew:           "port_few",
		PortCold:          "port_cold",
		PortHot:           "port_hot",
		PortGood:          "port_good",
		FiringHigh:        "firing_high",
		FiringLow:         "firing_low",
		FiringOdd:         "firing_odd",
		SparkShort:        "spark_short",
		SparkLong:         "spark_long",
		NeedleSteady:      "needle_steady",
		NeedleFlick:       "needle_flick",
		NeedleRegular:     "needle_regular",
		NeedleSwingIdle:   "needle_swing_idle",
		NeedleSwingSpeed:  "needle_swing_speed",
		NeedleDrop:        "needle_drop",
		NeedleDrift:       "needle_drift",
		NeedleSinks:       "needle_sinks",
		NeedleKept:        "needle_kept",
		WireOpen:          "wire_open",
		WireAsGood:        "wire_as_good",
		OpenWire:          "open_wire",
		WireSpiral:        "wire_spiral",
		WireSpiralSet:     "wire_spiral_set",
		WireSpiralCompare: "wire_spiral_compare",
		WireOtherKind:     "wire_other_kind",
		WireWholeHigh:     "wire_whole_high",
		WireWholeGood:     "wire_whole_good",
		WireOuter:         "wire_outer",
		WireLenient:       "wire_lenient",
		WireStrict:        "wire_strict",
		WireRight:         "wire_right",
	}
}

// String is the code that the journal keeps.
func (s Saying) String() string {
	if all := codes(); int(s) < len(all) {
		return all[s]
	}
	return "?"
}
