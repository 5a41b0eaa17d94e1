package job

import (
	"errors"
	"time"

	"stumble/misfire"
	"stumble/obd"
)

// Guide leads through something while a drive runs: the steps of a test, or one cylinder cut after the other. It is
// called by the drive's goroutine alone.
type Guide interface {
	// Advance takes the time and what the tally has seen by then.
	Advance(now time.Time, s *misfire.Summary)
	// Over reports whether nothing is left to do, which ends the drive.
	Over() bool
	Skip(at time.Time)
	Repeat(at time.Time)
	Stop(at time.Time)
}

// Lead is how a drive is led.
type Lead struct {
	Guide Guide
	Every time.Duration // how often, in the drive's time, the guide is looked after
	// Practice is given the time before that: what a simulated driver does. May be nil.
	Practice func(now time.Time) error
	// Cuts tells that cylinders are cut: their misses have no cause to look for.
	Cuts bool
}

// Lead makes the drive a guided one, which ends with its guide. A guide that has them hears samples (Add), that
// something was done (Confirm), and that nothing is heard of the car any more (Lost) or that it sleeps (Asleep).
func (d *Drive) Lead(l Lead) { d.lead = l }

// guided looks after the guide.
func (d *Drive) guided(now time.Time) {
	l := &d.lead
	if l.Practice != nil {
		d.failed = errors.Join(d.failed, l.Practice(now))
	}
	if l.Guide == nil || now.Before(d.looked) {
		return
	}
	d.looked = now.Add(l.Every)
	l.Guide.Advance(now, d.tally.Glance())
	if l.Guide.Over() {
		d.Until = now
	}
}

func (d *Drive) guideHears(s *obd.Sample) {
	if g, is := d.lead.Guide.(interface{ Add(*obd.Sample) }); is {
		g.Add(s)
	}
}

// guideLosesCar tells a guide that nothing is heard of the car.
func (d *Drive) guideLosesCar(n *Notice) {
	if g, is := d.lead.Guide.(interface{ Lost(time.Time) }); is && (n.Kind == LinkLost || n.Kind == CarAsleep) {
		g.Lost(n.At)
	}
	if g, is := d.lead.Guide.(interface{ Asleep(time.Time) }); is && n.Kind == CarAsleep {
		g.Asleep(n.At)
	}
}

// Skip leaves the present step of the guide out. As Repeat, Stop and Confirm it is a key, and does nothing without a
// guide.
func (d *Drive) Skip() { d.steer(Guide.Skip) }

// Repeat begins the present step again.
func (d *Drive) Repeat() { d.steer(Guide.Repeat) }

// Stop ends what the guide leads through.
func (d *Drive) Stop() { d.steer(Guide.Stop) }

// Confirm tells a guide that asks for it that something has been done.
func (d *Drive) Confirm() {
	d.steer(func(g Guide, at time.Time) {
		if c, is := g.(interface{ Confirm(time.Time) }); is {
			c.Confirm(at)
		}
	})
}

func (d *Drive) steer(do func(Guide, time.Time)) {
	d.press(func(at time.Time) {
		if d.lead.Guide != nil {
			do(d.lead.Guide, at)
		}
	})
}
