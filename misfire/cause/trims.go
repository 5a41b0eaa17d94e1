package cause

import (
	"time"

	"stumble/obd"
)

// TrimPlace is where a fuel trim was read: by engine speed and load, for the gear does not matter to it.
type TrimPlace uint8

// Places of trims.
const (
	TrimIdle   TrimPlace = iota // at rest, under 1,200 rpm
	TrimRaised                  // at rest, 2,000 rpm and more
	TrimCruise                  // on the move, load under 60 %
	TrimPull                    // load of 60 % and more
	TrimPlaces = iota
)

func (p TrimPlace) String() string {
	switch p {
	case TrimIdle:
		return "at idle"
	case TrimRaised:
		return "at 2500 rpm"
	case TrimCruise:
		return "cruising"
	}
	return "on a pull"
}

// Trim is the mean of short and long term fuel trim together, in percent, over so many readings.
type Trim struct {
	Mean    float64
	Samples int
}

// Trims are the fuel trims of both banks by place.
type Trims [2][TrimPlaces]Trim

// Add takes the trims of another drive.
func (t *Trims) Add(other Trims) {
	for bank := range t {
		for place := range t[bank] {
			t[bank][place].add(other[bank][place])
		}
	}
}

func (t *Trim) add(o Trim) {
	if o.Samples == 0 {
		return
	}
	n := t.Samples + o.Samples
	t.Mean = (t.Mean*float64(t.Samples) + o.Mean*float64(o.Samples)) / float64(n)
	t.Samples = n
}

// trimSettles is how long the engine must have been in one place before its trim is taken: the correction follows
// the mixture by seconds. From experience of the trade, no source.
const trimSettles = 4 * time.Second

// Collector gathers what a tally does not keep: fuel trims by place, given the samples of a drive in order of time, and
// misses by heat, given the windows of its tally. Trims are taken in closed loop only: open loop corrects nothing.
type Collector struct {
	trims   Trims
	heat    Heat
	engine  obd.Module
	rpm     float64
	load    float64
	speed   float64
	coolant float64
	loop    obd.FuelSystem
	looped  bool // the car tells its loop
	known   bool // speed of the engine is known

	coolantWas thermometer

	place TrimPlace
	in    bool // in a place at all
	since time.Time

	short, long [2]float64
	have        [2][2]bool // of each bank: short, long
	fresh       [2]bool    // of each bank: one of them came with this sample
}

// Trims are the trims so far.
func (c *Collector) Trims() Trims { return c.trims }

// Heat is the misses by heat so far.
func (c *Collector) Heat() *Heat { return &c.heat }

// Add takes the next sample.
func (c *Collector) Add(s *obd.Sample) {
	c.fresh = [2]bool{}
	for i := range s.Readings {
		c.take(&s.Readings[i])
		if r := &s.Readings[i]; r.Service == obd.LiveData && r.ID == obd.PIDCoolant && r.Module == c.engine {
			c.coolantWas.set(s.Received, r.Value)
		}
	}
	c.settle(s.Received)
	if !c.in || !c.closed() || s.Received.Sub(c.since) < trimSettles {
		return
	}
	for bank := range c.trims {
		if c.fresh[bank] && c.have[bank] == [2]bool{true, true} {
			c.trims[bank][c.place].add(Trim{Mean: c.short[bank] + c.long[bank], Samples: 1})
		}
	}
}

func (c *Collector) take(r *obd.Reading) {
	if r.Service != obd.LiveData {
		return
	}
	if r.ID == obd.PIDRPM && (c.engine.Bits == 0 || r.Module.ID < c.engine.ID) {
		c.engine = r.Module
	}
	if r.ID == obd.PIDSpeed {
		c.speed = r.Value
		return
	}
	if c.engine.Bits != 0 && r.Module != c.engine {
		return // what the engine does is believed of its own module alone
	}
	switch r.ID {
	case obd.PIDRPM:
		c.rpm, c.known = r.Value, true
	case obd.PIDLoad:
		c.load = r.Value
	case obd.PIDCoolant:
		c.coolant = r.Value
	case obd.PIDFuelSystem:
		if r.Part == obd.PartFuelSystem1 {
			c.loop, c.looped = obd.FuelSystem(r.Value), true
		}
	case obd.PIDTrimShort1, obd.PIDTrimShort2:
		c.hear(r, 0, &c.short)
	case obd.PIDTrimLong1, obd.PIDTrimLong2:
		c.hear(r, 1, &c.long)
	}
}

// hear notes a trim; Part 1 is of banks 3 and 4, which are left out.
func (c *Collector) hear(r *obd.Reading, term int, into *[2]float64) {
	if r.Part != 0 {
		return
	}
	bank := int(r.ID-obd.PIDTrimShort1) / 2
	into[bank] = r.Value
	c.have[bank][term], c.fresh[bank] = true, true
}

// closed reports whether the controller corrects the mixture. A car that does not tell is taken to once warm.
func (c *Collector) closed() bool {
	if c.looped {
		return c.loop == obd.ClosedLoop || c.loop == obd.ClosedLoopHurt
	}
	const warm = 70 // degrees Celsius
	return c.coolant >= warm
}

// settle follows the place that the engine is in.
func (c *Collector) settle(at time.Time) {
	place, in := trimPlace(c.rpm, c.load, c.speed)
	in = in && c.known
	if in != c.in || place != c.place {
		c.place, c.in, c.since = place, in, at
	}
}

func trimPlace(rpm, load, speed float64) (TrimPlace, bool) {
	const (
		stands, idles, raised = 400, 1200, 2000 // rpm
		coasts, pulls         = 20, 60          // percent of load
	)
	switch {
	case rpm < stands:
		return 0, false
	case speed == 0 && rpm < idles:
		return TrimIdle, true
	case speed == 0:
		return TrimRaised, rpm >= raised
	case load >= pulls:
		return TrimPull, true
	}
	return TrimCruise, load >= coasts
}
