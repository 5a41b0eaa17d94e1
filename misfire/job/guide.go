package job

import (
	"errors"
	"time"

	"stumble/misfire/guide"
	"stumble/obd"
)

// Lead is how a drive is led.
type Lead struct {
	Guide *guide.Runner // called by the drive's goroutine alone; may be nil
	Every time.Duration // how often, in the drive's time, the guide is looked after
	// Practice is given the time before that: what a simulated driver does. May be nil.
	Practice func(now time.Time) error
	// Cuts tells that cylinders are cut: their misses have no cause to look for.
	Cuts bool
}

// Lead makes the drive a guided one, which ends with its guide. Call it before Run.
func (d *Drive) Lead(l Lead) {
	d.lead = l
	d.EachWindow(l.Guide.AddWindow)
}

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
	d.fill(now)
	if l.Guide.Over() {
		d.Until = now
	}
}

func (d *Drive) guideHears(s *obd.Sample) {
	if g := d.lead.Guide; g != nil {
		g.Add(s)
	}
}

// guideLosesCar tells a guide that nothing is heard of the car.
func (d *Drive) guideLosesCar(n *Notice) {
	g := d.lead.Guide
	if g == nil {
		return
	}
	switch n.Kind {
	case LinkLost:
		g.Lost(n.At)
	case CarAsleep:
		g.Lost(n.At)
		g.Asleep(n.At)
	}
}

// Skip leaves the present step of the guide out. As Repeat, Stop and Confirm it is a key, and does nothing without a
// guide.
func (d *Drive) Skip() { d.steer((*guide.Runner).Skip) }

// Repeat begins the present step again.
func (d *Drive) Repeat() { d.steer((*guide.Runner).Repeat) }

// Stop ends what the guide leads through.
func (d *Drive) Stop() { d.steer((*guide.Runner).Stop) }

// Confirm tells a guide that asks for it that something has been done.
func (d *Drive) Confirm() { d.steer((*guide.Runner).Confirm) }

func (d *Drive) steer(do func(*guide.Runner, time.Time)) {
	d.press(func(at time.Time) {
		if d.lead.Guide != nil {
			do(d.lead.Guide, at)
		}
	})
}
