package misfire

import (
	"slices"

	"stumble/misfire/engine"
	"stumble/misfire/rate"
)

// Clash is misfire codes that name cylinders which the counts do not accuse, while the counts accuse others.
type Clash struct {
	Coded     []int // cylinders that the codes name, in order
	Counted   []int // cylinders that the counts accuse, the worst first
	Numbering Numbering
}

// Numbering is what may make a code and a count name different cylinders.
type Numbering uint8

// What the numbers of the counts may be. SAE J1979 gives monitor A2 to cylinder 1, A3 to cylinder 2 and so on.
const (
	NumberingOpen    Numbering = iota // not told, and the firing order does not bring both together either
	NumberingByOrder                  // not told; if the car counts by firing order both mean the cylinders of the code
	NumberingTold                     // by a map that was given: one of the two is older, or the map is wrong
)

// Open reports whether how the car numbers its counts must be settled before a part is named.
func (c *Clash) Open() bool { return c != nil && c.Numbering != NumberingTold }

// SetCoded gives the cylinders that the misfire codes of the car name; none where none is named, or not known.
func (t *Tally) SetCoded(cylinders []int) { t.cfg.Coded = slices.Clone(cylinders) }

// clash holds the verdict against the cylinders that codes name; nil where they agree, or one of them names none. A
// code for one of the cylinders accused is agreement: the others may be older.
func (t *Tally) clash(s *Summary, accused []int) *Clash {
	if len(t.cfg.Coded) == 0 || len(accused) == 0 {
		return nil
	}
	for _, cylinder := range t.cfg.Coded {
		if cylinder < 1 || cylinder > len(s.Total) || slices.Contains(accused, cylinder) {
			return nil
		}
		if c := &s.Total[cylinder-1]; !c.Reported || !(c.Rate <= rate.Ceiling) {
			return nil // not counted, or it does miss, on too little running to name it
		}
	}
	c := &Clash{Coded: slices.Clone(t.cfg.Coded), Counted: slices.Clone(accused)}
	slices.Sort(c.Coded)
	switch {
	case t.cfg.Map != (engine.Map{}):
		c.Numbering = NumberingTold
	case inOrder(s.Engine, c):
		c.Numbering = NumberingByOrder
	}
	return c
}

// inOrder reports whether the counts, taken as places of the firing order, are on the very cylinders that codes name.
func inOrder(l engine.Layout, c *Clash) bool {
	var meant []int
	for _, place := range c.Counted {
		meant = append(meant, l.CylinderOf(place))
	}
	slices.Sort(meant)
	return slices.Equal(meant, c.Coded)
}
