package car

import (
	"fmt"
	"strings"
	"time"

	"stumble/obd"
)

// Scenario is a car ready to be plugged into.
type Scenario struct {
	Name    string
	Summary string // one line: the vehicle, what is wrong, what is unusual
	Config  Config
}

// NewScenario builds the car of a scenario. An unknown name is an error that lists the known ones.
func NewScenario(name string, seed uint64, start time.Time) (*Car, error) {
	all := Scenarios()
	names := make([]string, len(all))
	for i, s := range all {
		if s.Name == name {
			return New(s.Config, seed, start)
		}
		names[i] = s.Name
	}
	return nil, fmt.Errorf("no simulated car is called %q; choose one of: %s", name, strings.Join(names, ", "))
}

// Scenarios are all cars there are: the complaints, each complaint's car after its repair (with -repaired on
// the name), and cars whose controllers or manners are unusual.
func Scenarios() []Scenario {
	var all []Scenario
	for _, s := range complaints() {
		all = append(all, s, repaired(s))
	}
	all = append(all, attempts()...)
	all = append(all, controllers()...)
	all = append(all, newer()...)
	return append(all, manners()...)
}

// repaired is the same car with the fault gone and the codes just cleared. The permanent code stays, as it does.
func repaired(s Scenario) Scenario {
	c := s.Config
	c.Faults, c.Burst = nil, Burst{}
	c.History = cleared(c.History)
	return Scenario{Name: s.Name + "-repaired", Summary: c.Vehicle.Name + ", repaired, codes cleared", Config: c}
}

// cleared is what service 04 leaves of a history.
func cleared(h History) History {
	return History{Permanent: h.Permanent, Cleared: true, Odometer: h.Odometer}
}

// base is a car with a warm engine and the workshop's script.
func base(v Vehicle) Config {
	return Config{Vehicle: v, Script: workshopScript(), Coolant: 80, History: History{
		WarmUps: 41, Kilometres: 1830, Minutes: 2650, Odometer: 148211.4,
	}}
}

// inGear is the freeze frame of a miss at warm idle with the gear engaged, somewhat loaded.
func inGear() *Frame {
	return &Frame{Load: 35, RPM: 672, Coolant: 91, Short: 2.1, Long: 1.4, Ran: 1140, Drive: true}
}

// complaint gives a car its faults and the history that goes with them.
func complaint(v Vehicle, code uint16, frame *Frame, faults ...Fault) Config {
	c := base(v)
	c.Faults = faults
	h := &c.History
	h.Stored, h.Pending, h.Permanent = []uint16{code}, []uint16{code}, []uint16{code}
	h.Frame = frame
	h.LampKilometres, h.LampMinutes = 212, 305
	return c
}

// curlewComplaint is the demonstration: the coil of cylinder 5 breaks down hot and under load. It was driven in and has
// stood for a few minutes.
func curlewComplaint() Config {
	c := complaint(Curlew(), 0x0305,
		&Frame{Load: 43, RPM: 1420, Coolant: 92, Speed: 21, Short: 1.6, Long: 2.3, Ran: 1310, Drive: true},
		Breakdown{Cylinder: 5})
	c.Coolant = 76
	c.History.Pending = []uint16{0x0303}
	c.History.Last = []int{0, 0, 2, 0, 241, 0}
	c.History.Average = []float64{0, 0.1, 0.3, 0, 96, 0.1}
	return c
}

// wrenComplaint is a Wren with the plug wire of cylinder 2 broken. Misses hardly cluster.
func wrenComplaint() Config {
	c := complaint(Wren(), 0x0302, inGear(), PlugWire{Cylinder: 2})
	c.Burst = Burst{Share: 0.25, Run: 4}
	c.History.Last = []int{0, 168, 1, 0}
	c.History.Average = []float64{0.2, 143, 1.4, 0.1}
	return c
}

// complaints are the faults, each on its car.
func complaints() (all []Scenario) {
	for _, some := range [][]Scenario{curlews(), wrens(), plovers(), rooks(), unheard()} {
		all = append(all, some...)
	}
	return all
}

func wrens() []Scenario {
	coil := complaint(Wren(), 0x0300, &Frame{Load: 58, RPM: 1870, Coolant: 96, Speed: 61, Ran: 1920, Drive: true},
		Coil{Cylinders: []int{2, 3}})
	coil.Coolant = 62
	half := complaint(Wren(), 0x0303, inGear(), Coil{Cylinders: []int{3}})
	leak := complaint(Wren(), 0x0300, &Frame{Load: 22, RPM: 731, Coolant: 90, Short: 6.3, Long: 8.6, Ran: 615},
		AirLeak{})
	leak.History.Stored = []uint16{0x0300, 0x0171}
	supply := complaint(Wren(), 0x0300,
		&Frame{Load: 83, RPM: 3320, Coolant: 92, Speed: 88, Short: 7.8, Long: 8.6, Ran: 1310, Drive: true}, FuelSupply{})
	supply.History.Stored = []uint16{0x0300, 0x0171}
	dead := complaint(Wren(), 0x0304, inGear(), Dead{Cylinder: 4})
	return []Scenario{
		{"wren", "Larkspur Wren 1.6: plug wire of cylinder 2 broken; rare in Park, frequent in Drive, worse under load",
			wrenComplaint()},
		{"wren-coil-hot", "Larkspur Wren 1.6: shared coil of cylinders 2 and 3 fails once warm", coil},
		{"wren-coil-half", "Larkspur Wren 1.6: one tower of a shared coil fails warm, cylinder 3", half},
		{"random-leak", "Larkspur Wren 1.6: air leak behind the meter, all cylinders miss a little at idle", leak},
		{"fuel-supply", "Larkspur Wren 1.6: weak fuel supply, all cylinders miss under load", supply},
		{"dead-cylinder", "Larkspur Wren 1.6: cylinder 4 never fires; catalyst at risk", dead},
	}
}

func curlews() []Scenario {
	plug := complaint(Curlew(), 0x0305, &Frame{Load: 78, RPM: 2960, Coolant: 92, Speed: 74, Ran: 805, Drive: true},
		WornPlug{Cylinder: 5})
	lean := complaint(Curlew(), 0x0300, &Frame{Load: 20, RPM: 684, Coolant: 90, Short: 0.6, Long: 1.2, Ran: 410},
		LeanBank{Bank: 2})
	lean.History.Stored = []uint16{0x0300, 0x0174}
	return []Scenario{
		{"curlew", "Larkspur Curlew 3.0: coil of cylinder 5 breaks down hot and under load, worst in the low gears",
			curlewComplaint()},
		{"curlew-worn-plug", "Larkspur Curlew 3.0: wide plug gap on cylinder 5, misses under load", plug},
		{"curlew-lean-bank", "Larkspur Curlew 3.0: air leak into bank 2, misses at idle", lean},
	}
}

func plovers() []Scenario {
	injector := complaint(Plover(), 0x0303,
		&Frame{Load: 46, RPM: 2140, Coolant: 89, Speed: 68, Short: 3.9, Long: 5.5, Ran: 960, Drive: true},
		Injector{Cylinder: 3})
	injector.Controller.Percent = true
	compression := complaint(Plover(), 0x0304, &Frame{Load: 24, RPM: 905, Coolant: 27, Ran: 34}, Compression{Cylinder: 4})
	compression.History.Stored = []uint16{0x0304, 0x0316}
	compression.Coolant = 20
	return []Scenario{
		{"plover-injector", "Larkspur Plover 2.0: worn injector on cylinder 3", injector},
		{"plover-compression", "Larkspur Plover 2.0: cylinder 4 leaks compression, worst cold and at idle", compression},
	}
}

// rooks are the same complaint on each of the older buses.
func rooks() (all []Scenario) {
	for _, bus := range []struct {
		name, standard string
		protocol       obd.Protocol
		own            OwnCounts
	}{
		{"rook", "ISO 9141-2", obd.ISO9141, OwnByCylinder},
		{"rook-kwp", "ISO 14230-4", obd.KWPFast, OwnTogether},
		{"rook-vpw", "J1850 VPW", obd.J1850VPW, OwnByIdentifier},
		{"rook-pwm", "J1850 PWM", obd.J1850PWM, OwnByTest},
	} {
		c := complaint(Rook(), 0x0302, inGear(), PlugWire{Cylinder: 2})
		c.Vehicle.Protocol, c.Controller.Own = bus.protocol, bus.own
		c.History.Permanent = nil // older than permanent codes
		summary := "Larkspur Rook 1.8, " + bus.standard + ": plug wire of cylinder 2 broken, counts in the maker's data alone"
		all = append(all, Scenario{bus.name, summary, c})
	}
	return all
}

// unheard are cars of SAE J1979-2: they answer nothing an older tool asks.
func unheard() []Scenario {
	return []Scenario{
		{"siskin", "Larkspur Siskin 1.4, OBD on UDS alone: coil of cylinder 3 breaks down hot and under load", siskinComplaint()},
		{"heron", "Larkspur Heron 4.8, OBD on UDS alone: coil of cylinder 7 breaks down hot and under load", heronComplaint()},
	}
}

// attempts are cars after work that was not, or not wholly, the cure. The Wren's codes have been cleared.
func attempts() []Scenario {
	with := func(faults ...Fault) Config {
		c := wrenComplaint()
		c.Faults = faults
		c.History = cleared(c.History)
		return c
	}
	swapped := curlewComplaint()
	swapped.Faults = []Fault{Breakdown{Cylinder: 3}}
	return []Scenario{
		{"curlew-swapped", "Larkspur Curlew 3.0: coils of cylinders 5 and 3 exchanged, the faulty one now on cylinder 3",
			swapped},
		{"wren-wrong-wire", "Larkspur Wren 1.6: the wire of cylinder 3 was replaced, that of cylinder 2 is still broken",
			with(PlugWire{Cylinder: 2})},
		{"wren-swapped", "Larkspur Wren 1.6: wires of cylinders 1 and 2 exchanged, the broken one now on cylinder 1",
			with(PlugWire{Cylinder: 1})},
		{"wren-improved", "Larkspur Wren 1.6: broken wire of cylinder 2 patched up, a quarter of the misses left",
			with(PlugWire{Cylinder: 2, Scale: 0.25})},
		{"wren-two-faults", "Larkspur Wren 1.6: wire of cylinder 2 broken and the plug of cylinder 4 worn",
			with(PlugWire{Cylinder: 2}, WornPlug{Cylinder: 4})},
	}
}

// controllers are cars whose engine module counts or reports in another way.
func controllers() []Scenario {
	wren := func(change func(*Config)) Config {
		c := wrenComplaint()
		change(&c)
		return c
	}
	order := complaint(Curlew(), 0x0304, inGear(), Coil{Cylinders: []int{4}})
	order.Controller.ByFiringOrder = true
	return []Scenario{
		{"wren-bursty", "the Wren, its misses coming in long runs",
			wren(func(c *Config) { c.Burst = Burst{Share: 0.1, Run: 20} })},
		{"wren-slow-counter", "the Wren with counters that refresh every 1,000 turns",
			wren(func(c *Config) { c.Controller.Refresh.Revolutions = 1000 })},
		{"wren-timed-counter", "the Wren with counters that refresh every 10 seconds",
			wren(func(c *Config) { c.Controller.Refresh.Every = 10 * seconds })},
		{"wren-live-counter", "the Wren with counters that show each miss at once",
			wren(func(c *Config) { c.Controller.Refresh.PerEvent = true })},
		{"wren-key-off-counter", "the Wren with counters that move only when the engine stops",
			wren(func(c *Config) { c.Controller.Refresh.AtKeyOff = true })},
		{"wren-percent", "the Wren with totals and the maker's percentages against both limits in monitor A1",
			wren(func(c *Config) { c.Controller.Totals, c.Controller.Percent = true, true })},
		{"curlew-firing-order", "Larkspur Curlew 3.0: coil of cylinder 4 fails warm; counts are reported in firing order",
			order},
		{"fuel-shutoff", "the Wren with cylinder 4 dead and a controller that shuts its fuel off (P0363)",
			wren(func(c *Config) {
				c.Faults = []Fault{Dead{Cylinder: 4}}
				c.Controller.CutsFuel = true
				c.History = cleared(c.History)
			})},
		{"saturated", "the Wren, cylinder 4 dead for hours: its counter is about to stop at 65535",
			wren(func(c *Config) {
				c.Faults, c.Burst = []Fault{Dead{Cylinder: 4}}, Burst{}
				c.Running, c.Script = true, Script{}
				c.History.Last = []int{11, 208, 9, 65300}
			})},
	}
}

// manners are sound and faulty cars that answer, or are driven, in another way.
func manners() []Scenario {
	sound := base(Wren())
	stood := curlewComplaint()
	stood.Coolant = 14
	withheld := wrenComplaint()
	withheld.Controller.WithholdGear = true
	wide := wrenComplaint()
	wide.Vehicle.Protocol = obd.CAN29At500
	slow := wrenComplaint()
	slow.Vehicle.Protocol = obd.CAN11At250
	worse := wrenComplaint()
	worse.Script = longDrive()
	worse.Faults = []Fault{Worsening{Wire: PlugWire{Cylinder: 2}, After: 300, Factor: 3}}
	silent := wrenComplaint()
	silent.Controller.SilentAfter = 90 * seconds
	cold := wrenComplaint()
	cold.Coolant = 12
	asleep := wrenComplaint()
	asleep.Script = forever(KeyOff)
	standing := wrenComplaint()
	standing.Script = forever(KeyOn)
	running := wrenComplaint()
	running.Running = true
	running.Script = Script{}
	return []Scenario{
		{"healthy", "Larkspur Wren 1.6, nothing wrong", sound},
		{"no-gear", "the Wren without a report of the gear engaged", withheld},
		{"wide", "the Wren with 29-bit CAN identifiers", wide},
		{"slow-can", "the Wren on CAN at 250 kbit/s", slow},
		{"wren-worsening", "the Wren idling in Drive; five minutes in, cylinder 2 misses three times as often", worse},
		{"silent-transmission", "the Wren whose transmission module stops answering after 90 seconds", silent},
		{"curlew-cold", "the Curlew starting cold: the first mile is sound", stood},
		{"wren-cold", "the Wren starting cold", cold},
		{"wren-running", "the Wren already idling in Park, left there until told otherwise", running},
		{"ignition-off", "the Wren with its ignition off: nothing answers", asleep},
		{"engine-off", "the Wren with the ignition on and the engine never started", standing},
	}
}
