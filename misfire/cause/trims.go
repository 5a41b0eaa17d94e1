package cause

import (
	"time"

	"stumble/misfire/track"
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
	trims Trims
	heat  Heat
	car   track.State

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
		c.take(&s.Readings[i], s.Received)
		if coolant := c.car.Coolant; coolant.At.Equal(s.Received) && coolant.Known() {
			c.coolantWas.set(s.Received, coolant.V)
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

func (c *Collector) take(r *obd.Reading, at time.Time) {
	if c.car.Take(r, at) != 0 || r.Service != obd.LiveData || !c.car.OfEngine(r) {
		return
	}
	switch r.ID {
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
	if c.car.Fuel.Known() {
		loop := obd.FuelSystem(c.car.Fuel.V)
		return loop == obd.ClosedLoop || loop == obd.ClosedLoopHurt
	}
	return c.car.Warm()
}

// settle follows the place that the engine is in.
func (c *Collector) settle(at time.Time) {
	place, in := trimPlace(&c.car)
	if in != c.in || place != c.place {
		c.place, c.in, c.since = place, in, at
	}
}

func trimPlace(car *track.State) (TrimPlace, bool) {
	const (
		raised        = 2000   // rpm
		coasts, pulls = 20, 60 // percent of load
	)
	rpm, load, standing := car.RPM.V, car.Load.V, !(car.Speed.V > 0)
	switch {
	case !car.RPM.Known() || rpm < track.RunningRPM:
		return 0, false
	case standing && rpm < track.IdleTo:
		return TrimIdle, true
	case standing:
		return TrimRaised, rpm >= raised
	case load >= pulls:
		return TrimPull, true
	}
	return TrimCruise, load >= coasts
}
