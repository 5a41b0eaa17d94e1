package misfire

import "stumble/misfire/rate"

// apportioned is one cylinder's misses shared out over the groups of a level.
type apportioned struct{ cells map[int]*apportionedCell }

type apportionedCell struct {
	rate.Estimate
	apart bool
}

func (l *level) apportion(cylinder int) apportioned           { return apportioned{} }
func (a apportioned) of(group int) *apportionedCell           { return a.cells[group] }
func (c *apportionedCell) estimate(phi float64) rate.Estimate { return c.Estimate }
