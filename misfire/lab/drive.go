package lab

import (
	"math"
	"math/rand/v2"
	"time"

	"stumble/misfire/gear"
	"stumble/obd"
)

// Refresh is how a controller shows its counts: at once with 0 of both, every so many crank revolutions, or every so many
// seconds.
type Refresh struct{ Revolutions, Seconds float64 }

// Leg is a stretch of a drive.
type Leg struct {
	Gear    gear.State // what is in; at rest Drive or Reverse
	Seconds float64
	RPM     float64
	Load    float64   // percent
	Speed   float64   // km/h
	Coolant float64   // degrees Celsius; 0 is 90
	Rates   []float64 // misses per 1,000 firings by cylinder; nil for those of the engine
}

// Engine is what is driven.
type Engine struct {
	Cylinders int
	Rates     []float64 // misses per 1,000 firings by cylinder, where a leg has none of its own
	Families  []Family  // of the misses, by cylinder; the last serves the rest
	Refresh   Refresh
	Reports   bool // the car tells its gear (PID A4)
	Marks     bool // a helper marks each gear
	// Poll is the time between two requests; 0 is 50 ms. Engine speed is asked every second request, the counters in turn.
	Poll time.Duration
}

// Truth is what really happened to one cylinder.
type Truth struct {
	Firings  float64
	Misses   float64
	Expected float64 // misses due at the mean rates
}

// Drive is a drive under way. Give it legs; samples come out.
type Drive struct {
	Engine
	Sample func(*obd.Sample)
	Mark   func(time.Time, gear.State)

	Truth  []Truth
	ByGear [gear.Moving + 1][]Truth

	rng       *rand.Rand
	processes []Process
	start     time.Time
	at        float64 // seconds
	turned    float64 // crank revolutions
	fired     float64 // firings of each cylinder that were taken
	counted   []int   // what really happened
	shown     []int   // what the controller shows
	due       float64 // revolutions or seconds of the next refresh
	request   int
	reading   int     // counters read so far
	next      float64 // seconds of the next request
	sample    obd.Sample
	rpm       float64
}

// NewDrive begins a drive with the engine running.
func NewDrive(e Engine, seed uint64, sample func(*obd.Sample)) *Drive {
	d := &Drive{Engine: e, Sample: sample, Truth: make([]Truth, e.Cylinders), rng: rand.New(rand.NewPCG(seed, 0x1ab)),
		start: time.Date(2026, 5, 4, 8, 30, 0, 0, time.UTC), counted: make([]int, e.Cylinders), shown: make([]int, e.Cylinders)}
	for g := range d.ByGear {
		d.ByGear[g] = make([]Truth, e.Cylinders)
	}
	for c := range e.Cylinders {
		f := Families()[0]
		if len(e.Families) > 0 {
			f = e.Families[min(c, len(e.Families)-1)]
		}
		d.processes = append(d.processes, f.New(rand.New(rand.NewPCG(seed, uint64(c)+7))))
	}
	d.due = e.Refresh.Revolutions * d.rng.Float64()
	if e.Refresh.Seconds > 0 {
		d.due = e.Refresh.Seconds * d.rng.Float64()
	}
	if d.Poll == 0 {
		d.Poll = 50 * time.Millisecond
	}
	return d
}

// At is how far the drive has come.
func (d *Drive) At() time.Duration { return time.Duration(d.at * float64(time.Second)) }

func (d *Drive) time(sec float64) time.Time {
	return d.start.Add(time.Duration(sec * float64(time.Second)))
}

// Run drives a leg. look, which may be nil, is called every so often with the time into the drive; false ends the leg.
func (d *Drive) Run(l Leg, every float64, look func(at float64) bool) bool {
	if d.Marks && d.Mark != nil {
		d.Mark(d.time(d.at), l.Gear)
	}
	end, looked := d.at+l.Seconds, d.at
	for d.at < end {
		d.advance(&l, math.Min(end, d.next))
		if d.at >= d.next {
			d.ask(&l)
			d.next = d.at + d.Poll.Seconds()*(0.8+0.4*d.rng.Float64())
		}
		if look != nil && d.at-looked >= every {
			looked += every
			if !look(d.at) {
				return false
			}
		}
	}
	return true
}

// advance lets the engine run up to a time.
func (d *Drive) advance(l *Leg, until float64) {
	dt := until - d.at
	d.rpm += (l.RPM - d.rpm) * math.Min(1, dt/0.4)
	if d.at == 0 {
		d.rpm = l.RPM
	}
	from := d.turned
	d.turned += d.rpm / 60 * dt
	for d.fired+1 <= d.turned/2 {
		d.fired++
		share := 1.0
		if d.turned > from {
			share = (2*d.fired - from) / (d.turned - from)
		}
		d.fire(l, d.at+share*dt)
		d.refresh(2*d.fired, d.at+share*dt)
	}
	d.at = until
}

// fire takes one firing of each cylinder.
func (d *Drive) fire(l *Leg, at float64) {
	rates := d.Rates
	if l.Rates != nil {
		rates = l.Rates
	}
	for c, process := range d.processes {
		p := rates[c] / 1000
		miss := process.Miss(p, at)
		for _, t := range [...]*Truth{&d.Truth[c], &d.ByGear[l.Gear][c]} {
			t.Firings++
			t.Expected += p
			if miss {
				t.Misses++
			}
		}
		if miss {
			d.counted[c]++
		}
	}
}

// refresh brings what is shown up to date when it is due.
func (d *Drive) refresh(turned, at float64) {
	axis, period := turned, d.Refresh.Revolutions
	if d.Refresh.Seconds > 0 {
		axis, period = at, d.Refresh.Seconds
	}
	if period > 0 {
		if axis < d.due {
			return
		}
		for d.due <= axis {
			d.due += period
		}
	}
	copy(d.shown, d.counted)
}

// ask makes one exchange.
func (d *Drive) ask(l *Leg) {
	d.request++
	took := 0.012 + 0.01*d.rng.Float64()
	d.sample.Sent, d.sample.Received = d.time(d.at), d.time(d.at+took)
	d.sample.Readings = d.sample.Readings[:0]
	coolant := l.Coolant
	if coolant == 0 {
		coolant = 90
	}
	switch {
	case d.request%2 == 0:
		d.tell(obd.PIDRPM, math.Round(4*(d.rpm+d.rng.NormFloat64()*4))/4)
	case d.request%8 == 1:
		d.tell(obd.PIDLoad, math.Round((l.Load+0.4*d.rng.NormFloat64())*2.55)/2.55)
		d.tell(obd.PIDSpeed, math.Round(l.Speed))
		d.tell(obd.PIDThrottle, 12+l.Load/5)
	case d.request%64 == 3:
		d.tell(obd.PIDCoolant, math.Round(coolant))
	case d.Reports && d.request%16 == 5:
		d.tellGear(l.Gear)
	default:
		c := d.reading % d.Cylinders
		d.reading++
		d.sample.Readings = append(d.sample.Readings, obd.Reading{Service: obd.TestResults, ID: obd.MIDCylinder1 + byte(c),
			Part: obd.TIDCount, Module: module(), Value: float64(min(d.shown[c], 65535))})
	}
	d.Sample(&d.sample)
}

func module() obd.Module { return obd.Module{ID: 0x7E8, Bits: 11} }

func (d *Drive) tell(id byte, v float64) {
	d.sample.Readings = append(d.sample.Readings, obd.Reading{Service: obd.LiveData, ID: id, Module: module(), Value: v})
}

// tellGear tells the selector: 1 in any gear (PID 65).
func (d *Drive) tellGear(g gear.State) {
	v := 1.0
	if g == gear.ParkNeutral {
		v = 0
	}
	d.sample.Readings = append(d.sample.Readings, obd.Reading{Service: obd.LiveData, ID: obd.PIDAuxiliary, Part: obd.PartDriveSelector, Module: module(), Value: v})
}
