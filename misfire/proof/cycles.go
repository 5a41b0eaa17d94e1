package proof

import (
	"math"
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/track"
	"stumble/obd"
	"stumble/obd/counters"
)

// The cycles of the emission rules, at their typical limits; revisions and makers differ. Paragraphs are of 13
// CCR 1968.2; those marked "from memory" were not read in the rule itself.
const (
	WarmUpRise   = 22.0 // K above the coolant at start, (c), from memory and service pages
	WarmUpPetrol = 71.0 // degrees Celsius, 160 F, (c), from memory and service pages; UN R83 Annex 11 has 70
	WarmUpDiesel = 60.0 // 140 F, the same

	// The general denominator, (d)(4.3.2), from memory and service pages. Its limits on height and outside
	// temperature are not watched.
	tripRunning = 600 * time.Second
	tripAtSpeed = 300 * time.Second
	tripSpeed   = 40.0 // km/h, 25 mph
	tripIdle    = 30 * time.Second

	standing = 1.6 // km/h; 1 mile an hour (from memory)

	// A block of 1,000 revolutions with 1 % of all firings missed is the strictest that the emission
	// evaluation need be, (e)(3.2.2); the rule wants four such blocks, or one right after start.
	emissionBlock   = 1000.0
	emissionPercent = 1.0

	settles = time.Second // of running before a count is of this driving cycle
)

// CycleConfig is what is known of the car whose cycles are followed.
type CycleConfig struct {
	Diesel    bool
	Cylinders int     // 0 when not known: then no cycle can be called clean
	Similar   []Point // where the fault was first seen; with none any running is similar
	Strict    bool    // load within 10 points
}

// Cycles follows driving cycles, warm-up cycles and general denominator trips. Give it the samples of one drive
// after another, in order of time, and call [Cycles.EndDrive] where the engine was shut off unseen. It keeps a
// fixed amount of memory and is for one goroutine.
type Cycles struct {
	cfg    CycleConfig
	car    track.State
	heat   float64                                       // coolant of this driving cycle, degC; NaN before it was read
	ran    float64                                       // PID 1F, seconds since engine start; NaN when not read
	counts [1 + mostRecords][engine.MaxCylinders]counter // by where they are told
	way    int                                           // of those, the one that moved, from 1; 0 while none has
	done   Progress
	now    Cycle
	stood  bool // the engine was seen to stand since the last driving cycle
	block  struct{ revolutions, misses float64 }
}

// counter is one cylinder's count of this driving cycle.
type counter struct {
	value float64
	based bool
}

// Cycle is one driving cycle while it goes on.
type Cycle struct {
	Running  time.Duration // since the engine started
	AtSpeed  time.Duration // of it at 40 km/h or more
	Idle     time.Duration // longest unbroken idle at rest
	Start    float64       // coolant when first read, degC; NaN before
	Coolant  float64       // the newest, degC; NaN before
	WarmedUp bool          // a warm-up cycle is complete
	Trip     bool          // the general denominator trip is complete
	Similar  bool          // similar conditions were met
	Counted  bool          // misfire counts were read
	Missed   bool          // a block of 1,000 revolutions missed 1 % of all firings or more
	idle     time.Duration // the present unbroken idle
	open     bool
}

// Clean tells that misfire was watched and stayed within limits.
func (c Cycle) Clean() bool { return c.Counted && !c.Missed }

// Progress is how far the cycles have come.
type Progress struct {
	Starts     int   // engine starts seen; an engine found running is none
	Driving    int   // driving cycles completed, by shutting the engine off
	WarmUps    int   // warm-up cycles
	Trips      int   // general denominator trips
	CleanTrips int   // of them in a completed driving cycle without misfire
	Similar    int   // driving cycles completed that met similar conditions
	CleanInRow int   // of them without misfire, the latest in a row
	Now        Cycle // the one going on; the zero Cycle when the engine stands

	// The car's own since the codes were cleared, PID 30 and 31; NaN when not told.
	ClearWarmUps, ClearKilometres float64
}

// NewCycles begins to follow.
func NewCycles(cfg CycleConfig) *Cycles {
	nan := math.NaN()
	return &Cycles{cfg: cfg, car: track.New(), heat: nan, ran: nan,
		done: Progress{ClearWarmUps: nan, ClearKilometres: nan}}
}

// Progress is how far things have come.
func (c *Cycles) Progress() Progress {
	p := c.done
	p.Now = c.now
	return p
}

// EndDrive tells that the engine was shut off though no sample showed it, as at the end of a recording.
func (c *Cycles) EndDrive() { c.finish() }

// Add takes the next sample.
func (c *Cycles) Add(s *obd.Sample) {
	at := track.Instant(s)
	for i := range s.Readings {
		r := &s.Readings[i]
		switch {
		case r.Service == obd.TestResults && r.Part == obd.TIDCount:
			c.count(r, 0)
		case r.Service == obd.LocalData && counters.Kind(r.Part).Adds():
			c.count(r, 0)
		case r.Service == obd.CodeData && r.Part < mostRecords:
			c.count(r, 1+int(r.Part))
		case r.Service == obd.LiveData:
			c.take(r, at)
		}
	}
}

func (c *Cycles) take(r *obd.Reading, at time.Time) {
	seen := c.car.Take(r, at)
	switch {
	case seen&track.Turned != 0:
		c.turn(seen)
	case !c.car.OfEngine(r):
	case r.ID == obd.PIDCoolant:
		c.coolant(r.Value)
	case r.ID == obd.PIDRunTime:
		c.runTime(r.Value)
	case r.ID == obd.PIDWarmUps:
		c.done.ClearWarmUps = r.Value
	case r.ID == obd.PIDDistanceClear:
		c.done.ClearKilometres = r.Value
	}
}

// turn takes an engine speed: starts, stops, and the running in between.
func (c *Cycles) turn(seen track.Event) {
	if seen&track.Stopped != 0 {
		c.finish()
	}
	if c.car.RPM.V < track.StallRPM {
		c.stood = true
	}
	gap := c.car.RPM.At.Sub(c.car.Before.At)
	switch {
	case seen&track.Started != 0:
		if c.stood {
			c.done.Starts++
		}
		c.begin()
	case c.now.open && gap > track.Hole:
		c.now.idle = 0
	case c.now.open && c.car.Running:
		c.run(gap, (c.car.Before.V+c.car.RPM.V)/2)
	}
}

// runTime takes the car's own time since start, which falls when a start was not seen.
func (c *Cycles) runTime(seconds float64) {
	if c.now.open && seconds < c.ran {
		c.finish()
		c.begin()
		c.done.Starts++
	}
	c.ran = seconds
}

func (c *Cycles) begin() {
	c.stood = false
	c.now = Cycle{open: true, Start: math.NaN(), Coolant: math.NaN()}
	c.ran = math.NaN()
	c.block.revolutions, c.block.misses = 0, 0
	for i := range c.counts {
		for k := range c.counts[i] {
			c.counts[i][k].based = false
		}
	}
}

// finish completes the driving cycle going on.
func (c *Cycles) finish() {
	if !c.now.open {
		return
	}
	c.done.Driving++
	if c.now.Similar {
		c.done.Similar++
	}
	switch {
	case c.now.Missed:
		c.done.CleanInRow = 0
	case c.now.Similar && c.now.Counted:
		c.done.CleanInRow++
	}
	if c.now.Trip && c.now.Clean() {
		c.done.CleanTrips++
	}
	c.now, c.heat = Cycle{}, math.NaN()
}

// run adds a stretch of running.
func (c *Cycles) run(dt time.Duration, rpm float64) {
	n := &c.now
	n.Running += dt
	known := c.car.Speed.Fresh(c.car.RPM.At, track.SpeedLasts)
	if known && c.car.Speed.V >= tripSpeed {
		n.AtSpeed += dt
	}
	if known && c.car.Speed.V <= standing && rpm < track.FastIdleTo {
		n.idle += dt
		n.Idle = max(n.Idle, n.idle)
	} else {
		n.idle = 0
	}
	if !n.Trip && n.Running >= tripRunning && n.AtSpeed >= tripAtSpeed && n.Idle >= tripIdle {
		n.Trip = true
		c.done.Trips++
	}
	n.Similar = n.Similar || c.similar()
	c.addRevolutions(rpm * dt.Minutes())
}

// similar tells whether the engine runs where the fault was first seen.
func (c *Cycles) similar() bool {
	if len(c.cfg.Similar) == 0 {
		return true
	}
	here := Point{RPM: c.car.RPM.V, Load: c.car.Load.V}
	if !math.IsNaN(c.heat) {
		here.Warm = warmth(c.heat >= track.WarmAt)
	}
	for _, p := range c.cfg.Similar {
		if ToleranceOf(c.cfg.Strict).Similar(p, here) {
			return true
		}
	}
	return false
}

// addRevolutions closes a block of 1,000 revolutions when it is full.
func (c *Cycles) addRevolutions(revolutions float64) {
	c.block.revolutions += revolutions
	if c.block.revolutions < emissionBlock {
		return
	}
	firings := c.block.revolutions / 2 * float64(c.cfg.Cylinders)
	if firings > 0 && 100*c.block.misses >= emissionPercent*firings {
		c.now.Missed = true
	}
	c.block.revolutions, c.block.misses = 0, 0
}

// mostRecords is how many results of a code's record are followed (SAE J1979-2): they do not say what they count, but
// only the count of this driving cycle moves while the engine runs.
const mostRecords = 4

// count takes one cylinder's counter, by where it is told: test 0C, or a result of the cylinder's code. The way that moves
// first is the one. Until the engine has run a little a counter may show the last driving cycle.
func (c *Cycles) count(r *obd.Reading, way int) {
	if r.ID < obd.MIDCylinder1 || r.ID > obd.MIDLastCylinder || !c.now.open || c.now.Running < settles {
		return
	}
	k := &c.counts[way][r.ID-obd.MIDCylinder1]
	if rise := r.Value - k.value; k.based && rise > 0 && (c.way == 0 || c.way == way+1) {
		c.block.misses += rise
		c.way = way + 1
	}
	k.value, k.based = r.Value, true
	c.now.Counted = c.cfg.Cylinders > 0
}

// coolant takes a temperature and completes the warm-up cycle at its limits.
func (c *Cycles) coolant(degrees float64) {
	c.heat = degrees
	n := &c.now
	if !n.open {
		return
	}
	n.Coolant = degrees
	if math.IsNaN(n.Start) {
		n.Start = degrees
	}
	hot := WarmUpPetrol
	if c.cfg.Diesel {
		hot = WarmUpDiesel
	}
	if !n.WarmedUp && degrees >= hot && degrees-n.Start >= WarmUpRise {
		n.WarmedUp = true
		c.done.WarmUps++
	}
}
