package car

import (
	"fmt"
	"time"
)

// Unplug takes the connector off a cylinder's injector from a time on: the cylinder burns nothing until PlugIn, and the
// controller counts its misses. What the crank loses is the work that the cylinder gave. The error names a cylinder
// that the engine has not.
func (c *Car) Unplug(at time.Time, cylinder int) error { return c.plug(at, cylinder, true) }

// PlugIn puts the connector back on.
func (c *Car) PlugIn(at time.Time, cylinder int) error { return c.plug(at, cylinder, false) }

func (c *Car) plug(at time.Time, cylinder int, off bool) error {
	if n := c.cfg.Vehicle.Cylinders(); cylinder < 1 || cylinder > n {
		return fmt.Errorf("car: the %s has no cylinder %d, but 1 to %d", c.cfg.Vehicle.Name, cylinder, n)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(at)
	c.unplugged[cylinder-1] = off
	return nil
}

// starved reports whether a cylinder gets no fuel because somebody took its connector off: by order, or in the driver's
// script.
func (c *Car) starved(cylinder int) bool {
	return c.unplugged[cylinder-1] || c.driver.unplugged == cylinder
}

// weakening is a fault that takes work from a cylinder even when it burns.
type weakening interface {
	// work is what share of a sound cylinder's work is left under c.
	work(c *Conditions) (cylinder int, share float64)
}

// work is what a cylinder gives when it burns, 1 for a sound one.
func (c *Car) work(cylinder int) float64 {
	share := 1.0
	for _, f := range c.cfg.Faults {
		if w, ok := f.(weakening); ok {
			if sits, left := w.work(&c.conditions); sits == cylinder {
				share *= left
			}
		}
	}
	return share
}
