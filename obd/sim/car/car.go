package car

import (
	"math"
	"math/rand/v2"
	"sync"
	"time"

	"stumble/obd"
)

// Nodes of the control modules on the bus.
const (
	EngineNode       byte = 0x10
	TransmissionNode byte = 0x18
)

// longest is the most time that one question may let pass; of a longer gap, as after a computer's sleep, only
// this much is lived through.
const longest = 6 * time.Hour

// Car is a simulated car. It is safe for use by several goroutines. Its methods take the time of the asker's
// clock; the car first lives up to that time. A time before one it has already seen counts as that one.
type Car struct {
	mu    sync.Mutex
	cfg   Config
	start time.Time // of the grid
	ticks int64     // lived through

	driver     driver
	machine    machine
	combustion combustion
	mixture    mixture
	conditions Conditions
	truth      ledger

	angle float64 // turns of the crank since the last firing, in firings
	slot  int     // next place in the firing order
	bank  [maxCylinders]int

	counters   counters
	evaluation evaluation
	memory     memory // of the engine module
	gearbox    memory // of the transmission module
	cycle      cycle
	cycles     int                // driving cycles begun
	cut        [maxCylinders]bool // by the controller, until the next start
	unplugged  [maxCylinders]bool // by hand

	jitter       *rand.PCG
	engine       pidSet
	frozen       pidSet
	transmission pidSet
	tested       pidSet // on-board monitors of the engine module
	live         sensors
	verified     bool // the calibration was checked since the key was turned on
	promised     bool // the first record of counts was promised, and told later
	turnedDown   int  // requests for counts, because the module was busy
}

// New builds a car that begins at start. The seed decides everything that is left to chance.
func New(cfg Config, seed uint64, start time.Time) (*Car, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	c := &Car{cfg: cfg, start: start}
	v := &c.cfg.Vehicle
	stream := func(n uint64) *rand.PCG { return rand.NewPCG(seed, 0x9E3779B97F4A7C15*n) }
	coolant := cfg.Coolant
	if coolant == 0 {
		coolant = 20
	}
	c.machine = machine{
		v: v, rng: stream(1), coolant: coolant, oil: coolant - 4, intake: 24, ambient: 18, fuel: 61,
	}
	c.combustion = combustion{v: v, faults: c.cfg.Faults, burst: cfg.Burst, rng: stream(2)}
	c.driver = driver{script: cfg.Script, rng: stream(3)}
	c.jitter = stream(4)
	c.truth = ledger{cylinders: v.Cylinders(), rows: make(map[uint32]int)}
	c.counters = counters{cylinders: v.Cylinders(), refresh: cfg.Controller.Refresh}
	c.evaluation = newEvaluation()
	for bank, cylinders := range v.Banks {
		for _, cyl := range cylinders {
			c.bank[cyl-1] = bank
		}
	}
	c.fitModules()
	c.remember(&cfg.History)
	c.driver.follow()
	c.turnUp()
	return c, nil
}

// turnUp is the state at the beginning: asleep, key on, or already running.
func (c *Car) turnUp() {
	m := &c.machine
	if c.driver.maneuver != KeyOff {
		m.key = on
	}
	c.cycle = newCycle(m.coolant)
	if !c.cfg.Running {
		return
	}
	last := c.counters.counted
	m.running = true
	m.rpm, m.crank, m.load, m.drawn = m.v.Idle, m.v.Idle, m.v.IdleLoad, m.v.IdleLoad
	m.ran, m.revs = 600, 7000
	c.beginCycle()
	c.evaluation.slow.finished = 7
	c.counters.counted = last
	c.counters.flush()
}

// remember takes in what the modules already hold.
func (c *Car) remember(h *History) {
	k := &c.counters
	for i, n := range h.Last {
		k.counted[i] = uint32(n)
	}
	copy(k.average[:], h.Average)
	k.valid = !h.Cleared
	k.flush()
	f := &c.memory
	f.stored, f.pending, f.permanent = codesOf(h.Stored), codesOf(h.Pending), codesOf(h.Permanent)
	f.pendingCycle = -1
	f.mil = f.stored.n > 0
	f.warmUps = h.WarmUps
	f.kmClear, f.kmMIL = float64(h.Kilometres), float64(h.LampKilometres)
	f.secondsClear, f.secMIL = float64(h.Minutes)*60, float64(h.LampMinutes)*60
	if !h.Cleared {
		f.monitors = readiness{warm: 1e6, road: 1e6, cold: true}
		c.evaluation.judged, c.evaluation.judgedSlow = true, true
	}
	c.gearbox.warmUps, c.gearbox.kmClear, c.gearbox.secondsClear = f.warmUps, f.kmClear, f.secondsClear
	if h.Frame == nil {
		return
	}
	for _, l := range []*codeList{&f.stored, &f.pending} {
		if l.n > 0 && f.frameCode == 0 {
			f.frameCode = l.codes[0]
		}
	}
	f.frame = h.Frame.sensors(&c.cfg.Vehicle)
}

// sensors fills a freeze frame out with what goes with its conditions.
func (f *Frame) sensors(v *Vehicle) sensors {
	m := machine{
		v: v, running: true, ran: f.Ran, crank: f.RPM, rpm: f.RPM, load: f.Load, speed: f.Speed / 3.6,
		coolant: f.Coolant, oil: f.Coolant + 3, intake: 31, ambient: 18, fuel: 48,
	}
	if f.Drive {
		m.selector, m.gear = drive, 1
	}
	x := mixture{short: [2]float64{f.Short}, long: [2]float64{f.Long}}
	var s sensors
	s.read(&m, &x, 14.0)
	return s
}

// Protocol is what the car speaks.
func (c *Car) Protocol() obd.Protocol { return c.cfg.Vehicle.Protocol }

// Vehicle is the build of the car.
func (c *Car) Vehicle() Vehicle { return c.cfg.Vehicle }

// Ignition reports whether the modules are awake.
func (c *Car) Ignition(at time.Time) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(at)
	return c.machine.key != asleep
}

// Voltage is the supply at the diagnostic socket, in volts.
func (c *Car) Voltage(at time.Time) float64 {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(at)
	return c.volts()
}

func (c *Car) volts() float64 {
	m := &c.machine
	switch {
	case m.key == starter:
		return 10.1 + 0.3*math.Sin(m.cranked*20)
	case m.running:
		return 14.1 + 0.01*m.hunt - 0.2*min(1, m.ran/60)
	case m.key == on:
		return 12.3
	}
	return 12.6
}

// Do orders a maneuver from a time on, for a while (0: until the next order). Once the while is over the
// driver's script goes on where it was left.
func (c *Car) Do(at time.Time, m Maneuver, d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(at)
	left := d.Seconds()
	if d <= 0 {
		left = forGood
	}
	c.driver.order(m, left)
}

// Lamp is the malfunction indicator lamp.
type Lamp uint8

// The lamp's states.
const (
	LampOff Lamp = iota
	LampSteady
	LampFlashing // catalyst-damaging misfire goes on
)

// State is the car as somebody in it sees it.
type State struct {
	Maneuver Maneuver
	Awake    bool // ignition on
	Running  bool
	Gear     GearState
	Number   int     // forward gear engaged, 0 unless in Drive
	RPM      float64 // of the crank
	Load     float64 // calculated load, percent
	Speed    float64 // km/h
	Coolant  float64 // degrees Celsius
	FuelCut  bool
	Lamp     Lamp
	Cycles   int // engine starts since the simulation began, a running one at the beginning included
}

// State is the car at a time.
func (c *Car) State(at time.Time) State {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(at)
	m := &c.machine
	s := State{
		Maneuver: c.driver.maneuver, Awake: m.key != asleep, Running: m.running, Gear: m.gearState(), Number: m.gear,
		RPM: m.crank, Load: m.load, Speed: m.speed * 3.6, Coolant: m.coolant, FuelCut: m.fuelCut, Cycles: c.cycles,
	}
	switch {
	case c.evaluation.damaging:
		s.Lamp = LampFlashing
	case c.memory.mil:
		s.Lamp = LampSteady
	}
	return s
}

// Truth is what really happened up to the last time the car was asked for anything.
func (c *Car) Truth() Truth {
	c.mu.Lock()
	defer c.mu.Unlock()
	t := Truth{Cells: c.truth.cells()}
	for i := range c.cfg.Vehicle.Cylinders() {
		t.Unmonitored = append(t.Unmonitored, c.truth.unmonitored[i])
		t.counted = append(t.counted, uint64(c.counters.counted[i]))
		t.shown = append(t.shown, uint64(c.counters.shown[i]))
	}
	return t
}

// lived is the simulated time since the beginning.
func (c *Car) lived() time.Duration { return time.Duration(c.ticks) * grid }

// advance lives through the ticks up to at.
func (c *Car) advance(at time.Time) {
	gap := at.Sub(c.start) - c.lived()
	if gap > longest {
		c.start = c.start.Add(gap - longest)
		gap = longest
	}
	for ; gap >= grid; gap -= grid {
		c.step()
		c.ticks++
	}
}
