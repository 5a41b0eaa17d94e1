package wire

import "stumble/obd/sim/car"

// Truth is what really happened in a simulated drive: {"kind":"truth",...}.
type Truth struct {
	Kind      string          `json:"kind"` // "truth"
	Cylinders []TruthCylinder `json:"cylinders"`
	Cells     []TruthCell     `json:"cells"`
}

// TruthCylinder is one cylinder of it.
type TruthCylinder struct {
	Cylinder int    `json:"cylinder"`
	Firings  uint64 `json:"firings"` // that the controller judged
	Misses   uint64 `json:"misses"`
	Counted  uint64 `json:"counted"` // by the controller in this driving cycle
	Shown    uint64 `json:"shown"`   // by its counter, as last refreshed
}

// TruthCell is one condition of it.
type TruthCell struct {
	Gear     string    `json:"gear"`
	Load     int       `json:"load"` // percent
	RPM      int       `json:"rpm"`  // lower edge of a bin of 50
	Warm     bool      `json:"warm"`
	Firings  []uint64  `json:"firings"`  // by cylinder
	Misses   []uint64  `json:"misses"`   // by cylinder
	Expected []float64 `json:"expected"` // by cylinder: the sum of the chances
}

// NewTruth is what happened in a simulated car so far, as an object.
func NewTruth(c *car.Car) Truth {
	t := c.Truth()
	o := Truth{Kind: "truth"}
	vehicle := c.Vehicle()
	for n := 1; n <= vehicle.Cylinders(); n++ {
		sum := t.Sum(n, nil)
		o.Cylinders = append(o.Cylinders, TruthCylinder{Cylinder: n, Firings: sum.Firings, Misses: sum.Misses, Counted: t.Counted(n), Shown: t.Shown(n)})
	}
	for _, cell := range t.Cells {
		o.Cells = append(o.Cells, truthCell(cell))
	}
	return o
}

func truthCell(c car.Cell) TruthCell {
	o := TruthCell{Gear: c.Gear.String(), Load: c.Load, RPM: c.RPM, Warm: c.Warm}
	for _, t := range c.Cylinders {
		o.Firings = append(o.Firings, t.Firings)
		o.Misses = append(o.Misses, t.Misses)
		o.Expected = append(o.Expected, t.Expected)
	}
	return o
}
