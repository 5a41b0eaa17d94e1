package car

import "fmt"

// Conditions are what a fault may depend on.
type Conditions struct {
	Gear    GearState
	Number  int     // forward gear engaged, from 1; 0 in Park, Neutral and Reverse
	Load    float64 // calculated load, percent
	RPM     float64
	Coolant float64 // degrees Celsius
	Elapsed float64 // seconds since the simulation began
}

// Fault is something wrong with a car. The types of this package are all the faults there are; they compose
// by standing together in a Config.
type Fault interface {
	// miss raises the chance of a miss of each cylinder (index 0 is cylinder 1) under c.
	miss(v *Vehicle, c *Conditions, chance []float64)
	// trim is the fuel correction in percent that a bank (index 0 is bank 1) needs because of the fault alone;
	// what missing itself does to the trim comes on top.
	trim(v *Vehicle, c *Conditions, bank int) float64
	// place is what the fault sits on: cylinders, or a bank; nil and 0 for nothing in particular.
	place() (cylinders []int, bank int)
}

// also adds a further, independent chance of missing, given per 1,000 firings.
func also(chance []float64, cyl int, perThousand float64) {
	p := &chance[cyl-1]
	*p = 1 - (1-*p)*(1-min(1, perThousand/1000))
}

// PlugWire is a broken plug wire: rare at a light idle, frequent as soon as load asks for a higher voltage, a
// little more in Reverse, where the engine leans the other way on its mounts. On a shared coil the partner
// loses a spark now and then.
type PlugWire struct {
	Cylinder int
	Scale    float64 // 0 means 1
}

func (f PlugWire) miss(v *Vehicle, c *Conditions, chance []float64) {
	rate := piecewise(c.Load, 27, 2, 31, 30, 33, 31, 82, 60, 100, 68)
	if c.Gear == Reverse {
		rate *= 1.11
	}
	if f.Scale > 0 {
		rate *= f.Scale
	}
	also(chance, f.Cylinder, rate)
	if mate := v.mate(f.Cylinder); mate > 0 {
		also(chance, mate, min(0.4, 0.006*rate))
	}
}

func (PlugWire) trim(*Vehicle, *Conditions, int) float64 { return 0 }
func (f PlugWire) place() ([]int, int)                   { return []int{f.Cylinder}, 0 }

// WornPlug is a plug with too wide a gap: it fails with the pressure in the cylinder.
type WornPlug struct{ Cylinder int }

func (f WornPlug) miss(_ *Vehicle, c *Conditions, chance []float64) {
	also(chance, f.Cylinder, piecewise(c.Load, 25, 0.5, 35, 5, 60, 22, 85, 55))
}

func (WornPlug) trim(*Vehicle, *Conditions, int) float64 { return 0 }
func (f WornPlug) place() ([]int, int)                   { return []int{f.Cylinder}, 0 }

// Coil is a coil that fails when hot, on every cylinder it serves: two name a shared coil, one names half of a
// shared coil or a coil of its own.
type Coil struct{ Cylinders []int }

func (f Coil) miss(_ *Vehicle, c *Conditions, chance []float64) {
	hot := piecewise(c.Coolant, 78, 0.02, 88, 1)
	rate := hot * piecewise(c.Load, 22, 8, 35, 20, 80, 45)
	for _, cyl := range f.Cylinders {
		also(chance, cyl, rate)
	}
}

func (Coil) trim(*Vehicle, *Conditions, int) float64 { return 0 }
func (f Coil) place() ([]int, int)                   { return f.Cylinders, 0 }

// Breakdown is a coil on one plug whose insulation gives way once it is hot through: nothing on the first mile, then
// with the voltage that the load asks for, and worst in the low gears, where the engine turns slowly against a large
// load and the spark meets the highest pressure.
type Breakdown struct{ Cylinder int }

func (f Breakdown) miss(_ *Vehicle, c *Conditions, chance []float64) {
	hot := piecewise(c.Coolant, 80, 0, 90, 1)
	low := piecewise(float64(c.Number), 2, 1, 5, 0.45) // 0, at rest or in Reverse, is as low as can be
	also(chance, f.Cylinder, hot*low*piecewise(c.Load, 20, 5, 30, 30, 45, 55, 80, 120))
}

func (Breakdown) trim(*Vehicle, *Conditions, int) float64 { return 0 }
func (f Breakdown) place() ([]int, int)                   { return []int{f.Cylinder}, 0 }

// Injector is a worn injector that starves its cylinder, the more the more fuel is asked of it.
type Injector struct{ Cylinder int }

func (f Injector) miss(_ *Vehicle, c *Conditions, chance []float64) {
	also(chance, f.Cylinder, piecewise(c.Load, 20, 6, 35, 12, 60, 22, 85, 42))
}

func (f Injector) trim(v *Vehicle, c *Conditions, bank int) float64 {
	for _, cyl := range v.Banks[bank] {
		if cyl == f.Cylinder {
			return piecewise(c.Load, 20, 12, 85, 22) / float64(len(v.Banks[bank]))
		}
	}
	return 0
}

// work: a starved cylinder burns lean and gives less, the more the more is asked of it.
func (f Injector) work(c *Conditions) (int, float64) {
	return f.Cylinder, piecewise(c.Load, 20, 0.8, 85, 0.6)
}

func (f Injector) place() ([]int, int) { return []int{f.Cylinder}, 0 }

// leak is the share of unmetered air that a leak of fixed size makes: large in the little air of an idle,
// next to nothing at 2500 rpm or under load.
func leak(c *Conditions) float64 {
	return piecewise(c.RPM, 850, 1, 2200, 0.12) * piecewise(c.Load, 26, 1, 60, 0.05)
}

// LeanBank is an air leak into one bank.
type LeanBank struct{ Bank int }

func (f LeanBank) miss(v *Vehicle, c *Conditions, chance []float64) {
	for _, cyl := range v.Banks[f.Bank-1] {
		also(chance, cyl, 9*leak(c))
	}
}

func (f LeanBank) trim(_ *Vehicle, c *Conditions, bank int) float64 {
	if bank != f.Bank-1 {
		return 0
	}
	return 19 * leak(c)
}

func (f LeanBank) place() ([]int, int) { return nil, f.Bank }

// AirLeak is an air leak behind the meter: every cylinder misses a little, at idle.
type AirLeak struct{}

func (AirLeak) miss(v *Vehicle, c *Conditions, chance []float64) {
	for cyl := 1; cyl <= v.Cylinders(); cyl++ {
		also(chance, cyl, 6*leak(c))
	}
}

func (AirLeak) trim(_ *Vehicle, c *Conditions, _ int) float64 { return 15 * leak(c) }
func (AirLeak) place() ([]int, int)                           { return nil, 0 }

// FuelSupply is a weak pump or a blocked filter: every cylinder starves as the engine asks for more.
type FuelSupply struct{}

func (FuelSupply) miss(v *Vehicle, c *Conditions, chance []float64) {
	for cyl := 1; cyl <= v.Cylinders(); cyl++ {
		also(chance, cyl, piecewise(c.Load*c.RPM/1000, 20, 0.2, 60, 3, 240, 32))
	}
}

func (FuelSupply) trim(_ *Vehicle, c *Conditions, _ int) float64 {
	return piecewise(c.Load*c.RPM/1000, 20, 2, 60, 7, 240, 19)
}

func (FuelSupply) place() ([]int, int) { return nil, 0 }

// Compression is a leaking valve or ring: worst cold and slow, gone when the engine is busy.
type Compression struct{ Cylinder int }

func (f Compression) miss(_ *Vehicle, c *Conditions, chance []float64) {
	cold := piecewise(c.Coolant, 20, 3, 75, 1)
	busy := piecewise(c.RPM, 900, 1, 2000, 0.12)
	also(chance, f.Cylinder, 26*cold*busy)
}

// work: at idle little is left after the engine's own friction; fast, the charge has less time to leak.
func (f Compression) work(c *Conditions) (int, float64) {
	return f.Cylinder, piecewise(c.RPM, 900, 0.2, 2000, 0.9)
}

func (Compression) trim(*Vehicle, *Conditions, int) float64 { return 0 }
func (f Compression) place() ([]int, int)                   { return []int{f.Cylinder}, 0 }

// Dead is a cylinder that never fires, as with its coil unplugged.
type Dead struct{ Cylinder int }

func (f Dead) miss(_ *Vehicle, _ *Conditions, chance []float64) { chance[f.Cylinder-1] = 1 }
func (Dead) trim(*Vehicle, *Conditions, int) float64            { return 0 }
func (f Dead) place() ([]int, int)                              { return []int{f.Cylinder}, 0 }

// Worsening is a plug wire whose rates rise by Factor once After seconds of simulated time have passed.
type Worsening struct {
	Wire   PlugWire
	After  float64
	Factor float64
}

func (f Worsening) miss(v *Vehicle, c *Conditions, chance []float64) {
	w := f.Wire
	if c.Elapsed >= f.After {
		w.Scale = f.Factor * max(w.Scale, 1)
	}
	w.miss(v, c, chance)
}

func (Worsening) trim(*Vehicle, *Conditions, int) float64 { return 0 }
func (f Worsening) place() ([]int, int)                   { return f.Wire.place() }

// misplaced says what is wrong with a fault on this vehicle, or nothing.
func misplaced(v *Vehicle, f Fault) error {
	cylinders, bank := f.place()
	for _, cyl := range cylinders {
		if cyl < 1 || cyl > v.Cylinders() {
			return fmt.Errorf("car: %T names cylinder %d, but the %s has cylinders 1 to %d", f, cyl, v.Name, v.Cylinders())
		}
	}
	if _, lean := f.(LeanBank); lean && (bank < 1 || bank > len(v.Banks)) {
		return fmt.Errorf("car: %T names bank %d, but the %s has banks 1 to %d", f, bank, v.Name, len(v.Banks))
	}
	return nil
}
