package bench

import "math"

// Part is what was measured, as the journal keeps it.
type Part string

// Parts.
const (
	Wire        Part = "wire" // of a plug
	Plug        Part = "plug"
	Coil        Part = "coil"
	Injector    Part = "injector"
	Compression Part = "compression"
	LeakDown    Part = "leakdown"
	Fuel        Part = "fuel"
	Spark       Part = "spark" // a spark tester's
	Battery     Part = "battery"
	Ground      Part = "ground"
	Engine      Part = "engine"
	Exhaust     Part = "exhaust"
	Purge       Part = "purge"
	Coolant     Part = "coolant"
	Balance     Part = "balance" // the cylinder cut test
)

// Quantity is what was measured of a part, as the journal keeps it. The comment names the unit of Reading.Value.
type Quantity string

// Quantities.
const (
	Resistance   Quantity = "resistance"    // kohm of a wire or plug, ohm of an injector
	Insulation   Quantity = "insulation"    // of a plug, terminal to shell, Mohm
	Gap          Quantity = "gap"           // of a plug, mm
	Appearance   Quantity = "appearance"    // of a plug, in words
	Primary      Quantity = "primary"       // resistance of a coil, ohm
	Secondary    Quantity = "secondary"     // resistance of a coil, kohm
	Reach        Quantity = "reach"         // gap that a coil's spark jumps in open air, mm
	SupplyDrop   Quantity = "supply_drop"   // of a coil's connector below the battery, V
	PressureDrop Quantity = "pressure_drop" // of an injector for one fixed pulse, kPa
	Dry          Quantity = "dry"           // compression as found, kPa
	Oiled        Quantity = "oiled"         // compression after some 15 ml of oil, kPa
	CrankSpeed   Quantity = "crank_speed"   // while compression is measured, rpm
	Leakage      Quantity = "leakage"       // percent
	Pressure     Quantity = "pressure"      // of fuel, kPa over the air's
	Hold         Quantity = "hold"          // loss of fuel pressure in five minutes, kPa
	Outcome      Quantity = "outcome"       // of a spark test, in words
	Resting      Quantity = "resting"       // of a battery, V
	Cranking     Quantity = "cranking"      // of a battery, V
	Charging     Quantity = "charging"      // V
	Drop         Quantity = "drop"          // engine to battery minus while cranking, V; of the balance test, rpm
	Vacuum       Quantity = "vacuum"        // of the manifold at idle, kPa
	BackPressure Quantity = "back_pressure" // of the exhaust at 2,500 rpm, kPa
	BackIdle     Quantity = "back_idle"     // of the exhaust at idle, kPa
	Needle       Quantity = "needle"        // how the vacuum gauge's moves, in words
	HoldMinute   Quantity = "hold_minute"   // loss of fuel pressure in one minute, kPa
	KeyOn        Quantity = "key_on"        // of a battery, engine off, V
	Load         Quantity = "load"          // of a battery after 15 s of load, V
	RunIdle      Quantity = "run_idle"      // compression of the running engine at idle, kPa
	RunSnap      Quantity = "run_snap"      // the same as the throttle is snapped open, kPa
	GroundOhms   Quantity = "ground_ohms"   // of a coil's ground path, ohm
	Available    Quantity = "available"     // voltage that a coil reaches on an adjustable gap, kV
	Firing       Quantity = "firing"        // voltage that a plug asks for, kV
	Duration     Quantity = "duration"      // of the spark, ms
	Suction      Quantity = "suction"       // at the hose of a purge valve, its plug off, kPa
	CoolantLoss  Quantity = "coolant_loss"  // of pressure of the cooling system overnight, kPa
	PortHeat     Quantity = "port_heat"     // of an exhaust port at warm idle, degrees Celsius
)

// Reading is one measurement by hand.
type Reading struct {
	Part     Part
	Cylinder int // 0: the whole engine
	Quantity Quantity
	Value    float64 // in Unit; +Inf: open circuit; NaN: only Text tells
	Unit     string
	Moves    bool    // the meter moved between Value and To while the part was moved
	To       float64 // then the other end, as Value; else 0
	State    State
	Celsius  float64 // temperature of a battery under load, where Heated
	Heated   bool
	Margin   float64 // half the width of Value's 95 % limits; 0: not known
	Length   float64 // of a wire, metres; 0: not known
	Variant  Variant // which kind of part; "" : not told
	Maker    Range   // the maker's figure, in Unit (of a wire with PerLength: Unit a metre); zero: not told
	Text     string

	// As it was typed, so that it is told in the same: empty where the unit was left out.
	Typed        string // unit of the value, as UnitNames has it
	TypedLength  string // unit of a wire's length
	TypedCelsius string // unit of the temperature

	end bool // the other end of a reading that moved, which is judged in its place
}

// Open reports whether the meter showed an open circuit.
func (r *Reading) Open() bool { return math.IsInf(r.Value, 1) }

// otherEnd is a reading that moved, at its other end.
func (r *Reading) otherEnd() *Reading {
	o := *r
	o.Value, o.To, o.end = r.To, r.Value, true
	return &o
}

// State is how warm a part was when it was measured.
type State string

// States.
const (
	AnyState State = ""
	Cold     State = "cold"
	Hot      State = "hot"
)

// Variant is which kind of its part a reading is of, where the rules tell them apart.
type Variant string

// Variants.
const (
	Resistor      Variant = "resistor"       // a plug with a resistor in it
	Plain         Variant = "plain"          // a plug without one
	HighImpedance Variant = "high-impedance" // a port injector, the usual one
	LowImpedance  Variant = "low-impedance"  // a port injector
	Direct        Variant = "direct"         // an injector into the cylinder
	HoseOn        Variant = "hose-on"        // fuel pressure at idle with the hose of the regulator on
)

// Range is a maker's figure, its ends among it. The zero Range is none.
type Range struct {
	Low, High float64 // -Inf and +Inf: no limit on that side
	PerLength bool    // of a wire: for each metre
	Typed     string  // the length that it was typed for, as ft or m
}

// Told reports whether there is a maker's figure.
func (r Range) Told() bool { return r != Range{} }
