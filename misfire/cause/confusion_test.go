package cause_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/cause"
	"stumble/obd/sim/car"
)

// The confusion table runs 30 cases of each fault; -cases 200 narrows the figures.
var cases = flag.Int("cases", 30, "simulated cases of each fault")

// fault is one of the simulator's faults as the table tells them.
type fault struct {
	name   string
	builds []build
	// make places the fault on a car, and tells which causes a technician would call right. There is more than one
	// only where nothing in the car could tell them apart.
	make func(b build, rng *rand.Rand) (f []car.Fault, right []string)
	// truth is the part that is at fault, as a test by hand would find it.
	truth func(b build) string
	apart bool // not held to the limits
}

func one(b build, rng *rand.Rand) int { return 1 + rng.IntN(b.vehicle.Cylinders()) }

// Dead is a cylinder that never fires, "as with its coil unplugged". The simulator gives it no trace of which break it
// is, and the trims cannot be trusted at such a rate. So any break that stops one cylinder wholly is right: its coil,
// the coil's feed, its injector's circuit; with shared coils, where the partner runs well, its wire, its half of the
// coil or its injector's circuit. What never can be right is something that all cylinders share, or a worn part.
func deadEnds(b build) []string {
	if b.ignition == cause.CoilOnPlug {
		return []string{"coil", "coil_driver", "injector_circuit"}
	}
	return []string{"plug_wire", "coil_half", "injector_circuit"}
}

func faults(builds ...build) []fault {
	var wired []build
	for _, b := range builds {
		if b.ignition == cause.SharedCoils {
			wired = append(wired, b)
		}
	}
	simple := func(key string) func(build) string { return func(build) string { return key } }
	return []fault{
		{"PlugWire", wired, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.PlugWire{Cylinder: one(b, rng), Scale: 0.5 + 1.5*rng.Float64()}}, []string{"plug_wire"}
		}, simple("plug_wire"), false},
		{"WornPlug", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.WornPlug{Cylinder: one(b, rng)}}, []string{"plug"}
		}, simple("plug"), false},
		{"Coil", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			if b.ignition == cause.CoilOnPlug {
				return []car.Fault{car.Coil{Cylinders: []int{one(b, rng)}}}, []string{"coil"}
			}
			pair := b.vehicle.Coils[rng.IntN(len(b.vehicle.Coils))]
			return []car.Fault{car.Coil{Cylinders: pair[:]}}, []string{"coil_shared"}
		}, func(b build) string {
			if b.ignition == cause.CoilOnPlug {
				return "coil"
			}
			return "coil_shared"
		}, false},
		{"Injector", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Injector{Cylinder: one(b, rng)}}, []string{"injector_starving"}
		}, simple("injector_starving"), false},
		{"LeanBank", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			bank := 1 + rng.IntN(len(b.vehicle.Banks))
			if len(b.vehicle.Banks) == 1 { // the only bank is the whole engine
				return []car.Fault{car.LeanBank{Bank: bank}}, []string{"air_leak"}
			}
			return []car.Fault{car.LeanBank{Bank: bank}}, []string{"air_leak_bank"}
		}, func(b build) string {
			if len(b.vehicle.Banks) == 1 {
				return "air_leak"
			}
			return "air_leak_bank"
		}, false},
		{"AirLeak", builds, func(build, *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.AirLeak{}}, []string{"air_leak"}
		}, simple("air_leak"), false},
		{"FuelSupply", builds, func(build, *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.FuelSupply{}}, []string{"fuel_supply"}
		}, simple("fuel_supply"), false},
		{"Compression", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Compression{Cylinder: one(b, rng)}}, []string{"compression"}
		}, simple("compression"), false},
		{"Dead", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Dead{Cylinder: one(b, rng)}}, deadEnds(b)
		}, func(b build) string {
			if b.ignition == cause.CoilOnPlug {
				return "coil"
			}
			return "plug_wire"
		}, false},
		{"half coil", wired, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Coil{Cylinders: []int{one(b, rng)}}}, []string{"coil_half"}
		}, simple("coil_half"), true},
	}
}

// score is how often the right cause came out, before and after the test that was suggested.
type score struct {
	cases, first, three, after int
	said                       map[string]int // first cause, as often as it was said
	wrong                      []string
}

func run(t *testing.T, set []fault, n int, from uint64) map[string]*score {
	book := cause.StandardBook()
	out := make(map[string]*score)
	for k, f := range set {
		s := &score{said: make(map[string]int)}
		out[f.name] = s
		for i := range n {
			rng := seeded(from+uint64(i), uint64(k))
			b := f.builds[i%len(f.builds)]
			placed, right := f.make(b, rng)
			minutes := 6 + 2*rng.Float64()
			coolant := []float64{30, 62, 80}[rng.IntN(3)]
			if coolant == 30 {
				minutes += 4 // a cold engine is driven until it is warm
			}
			cfg := car.Config{Faults: placed, Script: trip(minutes), Coolant: coolant}
			if rng.IntN(2) == 0 {
				cfg.Burst = car.Burst{Share: 0.25, Run: 4}
			}
			d := drive(t, b, cfg, from+uint64(i), time.Duration(minutes*float64(time.Minute)))
			e := cause.Gather([]cause.Drive{d}, nil, b.ignition)
			r := book.Explain(e)
			s.cases++
			s.judge(t, book, e, r, right, f.truth(b), rng, fmt.Sprintf("%s %v at %.0f degrees, %.1f min", b.vehicle.Name, placed, cfg.Coolant, minutes))
		}
	}
	return out
}

func (s *score) judge(t *testing.T, book *cause.Book, e cause.Evidence, r *cause.Result, right []string, truth string, rng *rand.Rand, what string) {
	if len(r.Ranked) == 0 {
		s.said["nothing"]++
		s.wrong = append(s.wrong, what+": "+leading(r))
		return
	}
	s.said[r.Ranked[0].Key]++
	at := slices.IndexFunc(r.Ranked, func(c cause.Ranked) bool { return slices.Contains(right, c.Key) })
	if at == 0 {
		s.first++
	} else {
		s.wrong = append(s.wrong, fmt.Sprintf("%s: %s", what, leading(r)))
	}
	if at < 3 {
		s.three++
	}
	if r.Next != nil {
		outcome := outcomeOf(t, r.Next.Key, truth, rng)
		found, _ := book.Found(r.Next.Key, outcome, cause.Telling{})
		e.Findings = append(e.Findings, found)
	}
	if after := book.Explain(e); slices.Contains(right, after.Ranked[0].Key) {
		s.after++
	} else {
		s.wrong = append(s.wrong, fmt.Sprintf("   after %v: %s", e.Findings[len(e.Findings)-1].Test, leading(after)))
	}
}

// find is what a test shows of a part that is at fault, and how often it does.
type find struct {
	truth, outcome string
	often          float64
}

// probe is a test by hand: what it shows of the part at fault, and of any sound part. The figures are what a careful
// hand would find, set down without the product's tables: judgement of the trade.
type probe struct {
	sound string
	finds []find
}

func probes() map[string]probe {
	swap := func(parts ...string) probe { // the misses go with the part, unless handling closed a contact
		p := probe{sound: "stayed"}
		for _, part := range parts {
			p.finds = append(p.finds, find{part, "followed", 0.95})
		}
		return p
	}
	return map[string]probe{
		"swap_wire":     swap("plug_wire"),
		"swap_coil":     swap("coil", "coil_half", "coil_shared"),
		"swap_plug":     swap("plug"),
		"swap_injector": swap("injector_starving"),
		"swap_towers":   {"stayed", []find{{"coil_half", "moved", 0.95}}},
		"wire_ohms":     {"good", []find{{"plug_wire", "bad", 0.95}}}, // the simulator's wire is broken, not leaking
		"spark_load":    {"strong", []find{{"plug_wire", "weak", 0.85}, {"coil", "weak", 0.85}, {"coil_half", "weak", 0.85}, {"coil_shared", "weak", 0.85}}},
		"read_plug": {"normal", []find{{"plug", "worn", 0.95}, {"injector_starving", "white", 0.4}, {"air_leak", "white", 0.3}, {"air_leak_bank", "white", 0.3},
			{"fuel_supply", "white", 0.3}, {"compression", "oily", 0.3}}},
		"coil_ohms":           {"within", []find{{"coil", "off", 0.2}, {"coil_shared", "off", 0.2}, {"coil_half", "off", 0.3}}}, // it fails hot
		"coil_feed":           {"good", nil},
		"injector_click":      {"clicks", nil},
		"injector_ohms":       {"within", nil},
		"injector_flow":       {"alike", []find{{"injector_starving", "less", 0.95}}},
		"balance":             {"none", []find{{"compression", "one", 0.6}, {"injector_starving", "one", 0.5}}},
		"smoke":               {"none", []find{{"air_leak", "elsewhere", 0.9}, {"air_leak_bank", "bank", 0.85}}},
		"compression":         {"even", []find{{"compression", "low_one", 0.97}}},
		"leak_down":           {"even", []find{{"compression", "high_one", 0.97}}},
		"fuel_pressure":       {"good", []find{{"fuel_supply", "low", 0.95}}},
		"vacuum":              {"steady", []find{{"air_leak", "low", 0.6}, {"air_leak_bank", "low", 0.5}, {"compression", "flick", 0.5}}},
		"crank_learn":         {"same", nil},
		"smooth_road":         {"same", nil},
		"swap_boot":           {"same", []find{{"plug", "cured", 0.95}, {"plug_wire", "cured", 0.2}}},
		"mist":                {"none", nil},
		"supply":              {"good", nil},
		"wiring_look":         {"right", nil},
		"noid":                {"flashes", nil},
		"rail_hold":           {"holds", nil},
		"airflow":             {"right", nil},
		"meter_unplug":        {"same", nil},
		"fuel_sample":         {"good", nil},
		"tank_filled":         {"same", nil},
		"oil_smell":           {"none", nil},
		"purge_pinch":         {"same", nil},
		"egr_blank":           {"same", nil},
		"back_pressure":       {"free", nil},
		"running_compression": {"even", []find{{"compression", "low", 0.8}}},
		"coolant_test":        {"holds", nil},
		"cam_timing":          {"right", nil},
		"valves_look":         {"clean", nil},
		"mounts_look":         {"sound", nil},
		"belt_off":            {"same", nil},
		"crank_scope":         {"clean", nil},
		"program_known":       {"none", nil},
	}
}

// outcomeOf is how a test comes out on a car with that part at fault.
func outcomeOf(t *testing.T, test, truth string, rng *rand.Rand) string {
	t.Helper()
	p, known := probes()[test]
	require.True(t, known, "say what %s finds", test)
	for _, f := range p.finds {
		if f.truth == truth && rng.Float64() < f.often {
			return f.outcome
		}
	}
	return p.sound
}

// What the engine must reach on simulated cars, before any reading of the bench and after the one test it names.
const (
	mostlyFirst = 0.80
	nearlyThree = 0.97
	firstAfter  = 0.95
)

// TestConfusion prints how often the engine is right, on cars whose runs were looked at while the tables were written,
// and on cars and seeds that were held out; half of the cases each.
//
// One half of a shared coil is told apart, and not held to the limits: nothing but heat parts it from plug and wire of
// the same cylinder, and a short drive shows little of that. The two are exchanged in minutes.
func TestConfusion(t *testing.T) {
	if testing.Short() {
		t.Skip("hundreds of drives")
	}
	n := (*cases + 1) / 2
	var all score
	for _, of := range []struct {
		name   string
		builds []build
		seeds  uint64
	}{
		{"cars looked at", []build{wren(), curlew(), plover(), heron(), dunlin()}, 1000},
		{"cars held out", []build{siskin(), ousel(), pipit()}, 90000},
	} {
		t.Run(of.name, func(t *testing.T) {
			set := faults(of.builds...)
			sum := table(t, set, run(t, set, n, of.seeds))
			sum.check(t)
			all.add(&sum)
		})
	}
	t.Logf("%-12s %s", "all cars", all.String())
	all.check(t)
}

func (s *score) check(t *testing.T) {
	t.Helper()
	require.Positive(t, s.cases)
	of := float64(s.cases)
	assert.GreaterOrEqual(t, float64(s.first)/of, mostlyFirst, "first")
	assert.GreaterOrEqual(t, float64(s.three)/of, nearlyThree, "in the first three")
	chance := math.Sqrt(of * firstAfter * (1 - firstAfter)) // a standard deviation
	assert.GreaterOrEqual(t, float64(s.after), firstAfter*of-chance, "first after the test that was named")
}

func (s *score) add(o *score) {
	s.cases += o.cases
	s.first += o.first
	s.three += o.three
	s.after += o.after
}

func (s *score) String() string {
	share := func(n int) float64 { return 100 * float64(n) / float64(s.cases) }
	return fmt.Sprintf("%3d cases: first %5.1f %%, in three %5.1f %%, after the test %5.1f %%", s.cases, share(s.first), share(s.three), share(s.after))
}

// table prints a line for each fault, and adds up those that are held to the limits.
func table(t *testing.T, set []fault, scores map[string]*score) (sum score) {
	for _, f := range set {
		s := scores[f.name]
		var said []string
		for key, n := range s.said {
			said = append(said, fmt.Sprintf("%s %d", key, n))
		}
		slices.Sort(said)
		t.Logf("%-12s %s; said %s", f.name, s, strings.Join(said, ", "))
		if !f.apart {
			sum.add(s)
		}
	}
	t.Logf("%-12s %s", "all but half", sum.String())
	for _, f := range set {
		for _, w := range scores[f.name].wrong {
			t.Log(f.name, w)
		}
	}
	return sum
}

// leading names the cause that leads, and its share.
func leading(r *cause.Result) string {
	if len(r.Ranked) == 0 {
		return r.Basis.String()
	}
	return fmt.Sprintf("%s %v %.2f", r.Ranked[0].Key, r.Ranked[0].Cylinders, r.Ranked[0].Share)
}
