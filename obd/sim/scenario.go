package sim

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"stumble/obd/clock"
	"stumble/obd/link"
	"stumble/obd/sim/car"
)

// Scenario is something to practise on.
type Scenario struct {
	Name    string
	Summary string // one line
}

// Scenarios lists every car there is, each behind a faithful adapter, then the adapters that misbehave.
// Names join with a plus sign: "rook+cheap-adapter". An adapter without a car is plugged into the first, and
// so is a faithful one for no name at all.
func Scenarios() []Scenario {
	var all []Scenario
	for _, s := range car.Scenarios() {
		all = append(all, Scenario{s.Name, s.Summary})
	}
	for _, m := range manners() {
		all = append(all, m.Scenario)
	}
	return all
}

// Simulation is a car, the adapter plugged into it, and the way to reach that.
type Simulation struct {
	Car     *car.Car
	Adapter *Adapter
	dialer  *Dialer
}

// Open sets up a scenario that begins now by the clock. The same name, seed and dialogue give the same
// bytes. An unknown name is an error of one line that lists what there is.
func Open(name string, seed uint64, clk clock.Clock) (*Simulation, error) {
	carName, chosen, err := choose(name)
	if err != nil {
		return nil, err
	}
	c, err := newCar(carName, slices.Contains(strings.Split(name, "+"), running), seed, clk.Now())
	if err != nil {
		return nil, err
	}
	cfg, drops := Config{Bus: c, Baud: 115200, Filler: 0xAA, Seed: seed}, Drops{Seed: seed}
	for _, m := range chosen {
		m.apply(&cfg, &drops)
	}
	a := NewAdapter(cfg)
	return &Simulation{Car: c, Adapter: a, dialer: NewDialer(a, clk, drops)}, nil
}

// running is the part of a name that has the engine run already, in Park, until told otherwise.
const running = "running"

func newCar(name string, runs bool, seed uint64, start time.Time) (*car.Car, error) {
	for _, s := range car.Scenarios() {
		if s.Name == name && runs {
			s.Config.Running, s.Config.Script = true, car.Script{}
			return car.New(s.Config, seed, start)
		}
	}
	return car.NewScenario(name, seed, start)
}

// Dial opens a connection to the adapter; see Dialer.Dial.
func (s *Simulation) Dial(ctx context.Context) (link.Link, error) { return s.dialer.Dial(ctx) }

// choose takes a scenario's name apart: at most one car, any number of manners.
func choose(name string) (carName string, chosen []manner, err error) {
	cars := car.Scenarios()
	carName = cars[0].Name
	named := false
	if name == "" {
		return carName, nil, nil
	}
	for part := range strings.SplitSeq(name, "+") {
		if m, ok := mannerNamed(part); ok {
			chosen = append(chosen, m)
			continue
		}
		if named || !carNamed(cars, part) {
			return "", nil, unknown(name)
		}
		carName, named = part, true
	}
	return carName, chosen, nil
}

func carNamed(cars []car.Scenario, name string) bool {
	for i := range cars {
		if cars[i].Name == name {
			return true
		}
	}
	return false
}

func unknown(name string) error {
	var names []string
	for _, s := range Scenarios() {
		names = append(names, s.Name)
	}
	return fmt.Errorf("there is no simulation %q; choose one of these, or join a car and an adapter with a plus sign: %s",
		name, strings.Join(names, ", "))
}

// manner is a way for the adapter or its connection to misbehave.
type manner struct {
	Scenario
	apply func(*Config, *Drops)
}

func mannerNamed(name string) (manner, bool) {
	for _, m := range manners() {
		if m.Name == name {
			return m, true
		}
	}
	return manner{}, false
}

func manners() []manner {
	return []manner{
		{Scenario{running, "any car with its engine already idling in Park, left there until told otherwise"}, func(*Config, *Drops) {}},
		{Scenario{"cheap-adapter", "an adapter with every known quirk: sticky echo, missing commands, small buffer, stray bytes"},
			func(c *Config, _ *Drops) {
				c.Quirks, c.Baud, c.Version = CheapAdapter(), 38400, "ELM327 v2.1"
			}},
		{Scenario{"dropping-link", "the connection breaks about every 40 seconds and is away for two"},
			func(_ *Config, d *Drops) { d.Every, d.Outage = 40*time.Second, 2*time.Second }},
		{Scenario{"poor-radio", "a wireless adapter that is slow to hand on bytes and loses some"},
			func(c *Config, _ *Drops) { c.Latency, c.Quirks.LosesBytes = 18*time.Millisecond, 0.001 }},
		{Scenario{"slow-serial", "an adapter at 9600 bits per second"},
			func(c *Config, _ *Drops) { c.Baud = 9600 }},
		{Scenario{"restless-adapter", "an adapter that alerts, resets itself and loses its CAN part within three minutes"},
			func(c *Config, _ *Drops) {
				c.Faults = append(c.Faults, Fault{40 * time.Second, ActivityAlert}, Fault{80 * time.Second, LowVoltageReset},
					Fault{160 * time.Second, FatalCAN})
			}},
		{Scenario{"lying-version", "an adapter that calls itself by a version that never was, and lacks half of what it has"},
			quirks(func(c *Config) {
				c.Version = "ELM327 v1.5"
				c.Quirks.Refuses = []string{"AL", "CAF", "CFC", "R0", "R1", "AMT", "PPS", "IGN", "AT2", "WS"}
			})},
		{Scenario{"half-flow-control", "an adapter that knows one command of three for flow control, and none that is optional"},
			quirks(func(c *Config) { c.Quirks.Refuses = []string{"FCSH", "FCSM", "CSM", "CTM", "JE"} })},
		{Scenario{"pretender", "an adapter that says OK to what it does not do"},
			quirks(func(c *Config) { c.Quirks.FalseOK = []string{"CAF", "CFC", "ST", "AT0", "AT1", "AT2", "S0"} })},
		{Scenario{"no-reset", "a cable that answers to its name and to no reset"}, quirks(func(c *Config) { c.Quirks.NoReset = true })},
		{Scenario{"sulking-adapter", "an adapter that hears nobody any more once it was told a wrong protocol, until it is reset"},
			quirks(func(c *Config) { c.Quirks.Sulks = true })},
		{Scenario{"slow-search", "an adapter that says nothing for fourteen seconds before it even searches"},
			quirks(func(c *Config) { c.Quirks.SlowSearch = 14 * time.Second })},
		{Scenario{"slow-modules", "modules that take 350 ms to answer, longer than the adapter waits"},
			func(c *Config, _ *Drops) { c.Bus = late(350 * time.Millisecond)(c.Bus) }},
		{Scenario{"slow-refusal", "an adapter that takes 21 seconds to say that it knows no count digit"},
			quirks(func(c *Config) { c.Quirks.NoCount, c.Quirks.SlowRefusal = true, 21*time.Second })},
		{Scenario{"digit-fails", "an adapter that says NO DATA to every third request with a count digit"},
			quirks(func(c *Config) { c.Quirks.DigitFails = 0.33 })},
		{Scenario{"half-lines", "an adapter with a small buffer that says so at the end of half a line"},
			quirks(func(c *Config) { c.Quirks.Buffer, c.Quirks.HalfLines = 48, true })},
		{Scenario{"small-buffer", "an adapter with a small buffer that loses lines without a word"},
			quirks(func(c *Config) { c.Quirks.Buffer, c.Quirks.LosesLines = 36, true })},
		{Scenario{"doubling-adapter", "an adapter that prints lines twice now and then"},
			quirks(func(c *Config) { c.Quirks.Doubles = 0.02 })},
		{Scenario{"noisy-adapter", "stray bytes in every other answer, and lines misread from the bus"},
			quirks(func(c *Config) { c.Quirks.Noise, c.Quirks.Misreads = 0.02, 0.01 })},
		{Scenario{"gateway", "a gateway that refuses whatever is asked of all modules"},
			func(c *Config, _ *Drops) { c.Bus = gateway(c.Bus) }},
		{Scenario{"sixteen-modules", "sixteen modules, half of them at addresses that OBD does not know"},
			func(c *Config, _ *Drops) { c.Bus = crowd(c.Bus) }},
		{Scenario{"wrong-echo", "an engine module that answers other monitors with the list of monitors"},
			func(c *Config, _ *Drops) { c.Bus = confused(c.Bus) }},
		{Scenario{"forgetful-modules", "modules that leave the first questions for counters unanswered"},
			func(c *Config, _ *Drops) { c.Bus = forgetful(2, "\x06\x00", "\x06\xA0", "\x06\xA3")(c.Bus) }},
		{Scenario{"late-counter", "a module that tells nothing of cylinder 2 for the first half minute"},
			func(c *Config, _ *Drops) { c.Bus = forgetful(6, "\x06\xA3")(c.Bus) }},
		{Scenario{"bluetooth-dropouts", "the connection goes away for a minute every three"},
			func(_ *Config, d *Drops) { d.Every, d.Outage = 3*time.Minute, time.Minute }},
	}
}

// quirks is a manner of the adapter alone.
func quirks(set func(*Config)) func(*Config, *Drops) { return func(c *Config, _ *Drops) { set(c) } }
