// Package vehicle is a connected car: what it supports, the plan by which it is polled, and the stream of
// samples that comes of it; and the one-time readings of an intake. It speaks through the dialogue of
// package elm and decodes with package obd.
package vehicle

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"stumble/obd"
	"stumble/obd/elm"
)

// Asker sends one request to the car: *elm.Adapter is one.
type Asker interface {
	Do(ctx context.Context, req obd.Request) (elm.Answer, error)
	Protocol() obd.Protocol
}

// Capabilities is what a car said it supports.
type Capabilities struct {
	Protocol obd.Protocol
	Modules  []Module  // in order of address: the engine module first on a usual car
	Monitors []Monitor // misfire monitors of cylinders, in order of monitor id
	General  bool      // the monitor of the engine as a whole (A1) is there
	// Limits of whole-engine misfire in percent, for blocks of 200 and 1000 revolutions, where the car
	// tells them as percentages among the tests of monitor A1; 0 where it does not.
	CatalystLimit, EmissionLimit float64
}

// Module is one control module.
type Module struct {
	Address obd.Module
	PIDs    obd.Support // service 01
	Tests   obd.Support // service 06, CAN only
	Info    obd.Support // service 09
}

// Monitor is one cylinder's misfire monitor.
type Monitor struct {
	Module   obd.Module
	MID      byte
	Cylinder int  // by the standard's numbering; a car may mean the place in the firing order
	Counts   bool // it carries the count of this driving cycle (test 0C)
}

// Has reports whether any module supports a PID of service 01.
func (c *Capabilities) Has(pid byte) bool {
	return slices.ContainsFunc(c.Modules, func(m Module) bool { return m.PIDs.Has(pid) })
}

// HasInfo reports whether any module supports an information type of service 09.
func (c *Capabilities) HasInfo(id byte) bool {
	return slices.ContainsFunc(c.Modules, func(m Module) bool { return m.Info.Has(id) })
}

// Cylinders is the number of cylinders that have a count, taken to be the highest of them; 0 without counts.
func (c *Capabilities) Cylinders() int {
	n := 0
	for _, m := range c.Monitors {
		if m.Counts {
			n = max(n, m.Cylinder)
		}
	}
	return n
}

// Discover asks the car what it supports. A car that answers nothing but its first bitmap is no error.
func Discover(ctx context.Context, car Asker) (*Capabilities, error) {
	c := &Capabilities{Protocol: car.Protocol()}
	if err := c.bitmaps(ctx, car, obd.LiveData); err != nil {
		return nil, fmt.Errorf("asking what the car supports: %w", err)
	}
	if err := optional(ctx, c.bitmaps(ctx, car, obd.VehicleInfo)); err != nil {
		return nil, err
	}
	if !c.Protocol.CAN() {
		return c, nil // no standard misfire counts there
	}
	if err := optional(ctx, c.bitmaps(ctx, car, obd.TestResults)); err != nil {
		return nil, err
	}
	return c, c.misfireMonitors(ctx, car)
}

// optional forgives what a car may do without: no answer, a refusal, an answer that cannot be read. What it
// does not forgive is the end of the context or the loss of the link.
func optional(ctx context.Context, err error) error {
	var status *elm.Status
	var refused obd.NegativeResponse
	var malformed *obd.MalformedError
	switch {
	case err == nil || ctx.Err() != nil:
		return err
	case errors.As(err, &refused), errors.As(err, &malformed):
		return nil
	case errors.As(err, &status) && status.Remedy != elm.RemedyTellUser && status.Remedy != elm.RemedyWaitIgnition:
		return nil
	}
	return err
}

// bitmaps asks for one support bitmap after another, as long as a module says there is a next. A bitmap that
// cannot be read is left out; only if the very first brings none at all is that an error.
func (c *Capabilities) bitmaps(ctx context.Context, car Asker, s obd.Service) error {
	for base, more := byte(0), true; more; {
		answer, err := car.Do(ctx, obd.NewRequest(s, base))
		if err == nil {
			var next byte
			next, more, err = c.takeBitmaps(s, base, answer.Messages)
			if err == nil {
				base = next
				continue
			}
		}
		if base > 0 {
			err = optional(ctx, err)
		}
		return err
	}
	return nil
}

// takeBitmaps notes what each module says it supports, and which bitmap to ask for next.
func (c *Capabilities) takeBitmaps(s obd.Service, base byte, messages []obd.Message) (next byte, more bool, err error) {
	read := 0
	for _, m := range messages {
		set := c.module(m.Module).support(s)
		if e := set.Add(c.Protocol, m); e != nil {
			err = e
			continue
		}
		read++
		if n, ok := set.Next(base); ok {
			next, more = n, true
		}
	}
	if read > 0 {
		err = nil
	}
	return next, more, err
}

// module finds a module by address, or adds it in its place.
func (c *Capabilities) module(address obd.Module) *Module {
	i, found := slices.BinarySearchFunc(c.Modules, address, func(m Module, a obd.Module) int { return int(m.Address.ID) - int(a.ID) })
	if !found {
		c.Modules = slices.Insert(c.Modules, i, Module{Address: address})
	}
	return &c.Modules[i]
}

func (m *Module) support(s obd.Service) *obd.Support {
	switch s {
	case obd.TestResults:
		return &m.Tests
	case obd.VehicleInfo:
		return &m.Info
	}
	return &m.PIDs
}

// misfireMonitors asks each misfire monitor once, to see which carry counts: some modules list a monitor
// that has none, and ids from AE on are cylinders only if they do.
func (c *Capabilities) misfireMonitors(ctx context.Context, car Asker) error {
	for mid := obd.MIDMisfire; mid <= obd.MIDLastCylinder; mid++ {
		if !slices.ContainsFunc(c.Modules, func(m Module) bool { return m.Tests.Has(mid) }) {
			continue
		}
		answer, err := car.Do(ctx, obd.Test(mid))
		if err != nil {
			if err := optional(ctx, err); err != nil {
				return err
			}
			continue
		}
		for _, m := range answer.Messages {
			c.addMonitor(mid, m)
		}
	}
	return nil
}

func (c *Capabilities) addMonitor(mid byte, m obd.Message) {
	results, _ := obd.DecodeTests(m) // whole records are good even where the tail is not
	if mid == obd.MIDMisfire {
		c.General = true
		c.takeLimits(results)
		return
	}
	cylinder, ok := obd.MisfireCylinder(mid, results)
	if !ok {
		return
	}
	monitor := Monitor{Module: m.Module, MID: mid, Cylinder: cylinder}
	for i := range results {
		r := &results[i]
		monitor.Counts = monitor.Counts || r.MID == mid && r.TID == obd.TIDCount && r.Unit == obd.Counts
	}
	c.Monitors = append(c.Monitors, monitor)
}

// takeLimits finds the whole-engine limits: tests of monitor A1 in percent that have an upper limit. The
// standard does not number them; the higher limit is that of the catalyst, the lower that of emissions.
func (c *Capabilities) takeLimits(results []obd.TestResult) {
	for i := range results {
		r := &results[i]
		if r.Unit != obd.Percent || !r.MaxApplies || r.NotRun || r.MaxValue <= 0 {
			continue
		}
		switch {
		case r.MaxValue > c.CatalystLimit:
			if c.CatalystLimit > 0 {
				c.EmissionLimit = c.CatalystLimit
			}
			c.CatalystLimit = r.MaxValue
		case c.EmissionLimit == 0 || r.MaxValue < c.EmissionLimit:
			c.EmissionLimit = r.MaxValue
		}
	}
}
