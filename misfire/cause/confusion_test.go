package cause_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

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
		}, simple("plug_wire")},
		{"WornPlug", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.WornPlug{Cylinder: one(b, rng)}}, []string{"plug"}
		}, simple("plug")},
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
		}},
		{"Injector", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Injector{Cylinder: one(b, rng)}}, []string{"injector"}
		}, simple("injector")},
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
		}},
		{"AirLeak", builds, func(build, *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.AirLeak{}}, []string{"air_leak"}
		}, simple("air_leak")},
		{"FuelSupply", builds, func(build, *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.FuelSupply{}}, []string{"fuel_supply"}
		}, simple("fuel_supply")},
		{"Compression", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Compression{Cylinder: one(b, rng)}}, []string{"compression"}
		}, simple("compression")},
		{"Dead", builds, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Dead{Cylinder: one(b, rng)}}, deadEnds(b)
		}, func(b build) string {
			if b.ignition == cause.CoilOnPlug {
				return "coil"
			}
			return "plug_wire"
		}},
		{"half coil", wired, func(b build, rng *rand.Rand) ([]car.Fault, []string) {
			return []car.Fault{car.Coil{Cylinders: []int{one(b, rng)}}}, []string{"coil_half"}
		}, simple("coil_half")},
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
			cfg := car.Config{Faults: placed, Script: trip(minutes), Coolant: []float64{20, 62, 80}[rng.IntN(3)]}
			if rng.IntN(2) == 0 {
				cfg.Burst = car.Burst{Share: 0.25, Run: 4}
			}
			d := drive(t, b, cfg, from+uint64(i), time.Duration(minutes*float64(time.Minute)))
			e := cause.Gather([]cause.Drive{d}, nil, b.ignition)
			r := book.Explain(e)
			s.cases++
			s.judge(book, e, r, right, f.truth(b), rng, fmt.Sprintf("%s %v at %.0f degrees, %.1f min", b.vehicle.Name, placed, cfg.Coolant, minutes))
		}
	}
	return out
}

func (s *score) judge(book *cause.Book, e cause.Evidence, r *cause.Result, right []string, truth string, rng *rand.Rand, what string) {
	if len(r.Ranked) == 0 {
		s.said["nothing"]++
		s.wrong = append(s.wrong, what+": "+r.Sentence)
		return
	}
	s.said[r.Ranked[0].Key]++
	at := slices.IndexFunc(r.Ranked, func(c cause.Ranked) bool { return slices.Contains(right, c.Key) })
	if at == 0 {
		s.first++
	} else {
		s.wrong = append(s.wrong, fmt.Sprintf("%s: %s", what, r.Sentence))
	}
	if at < 3 {
		s.three++
	}
	if r.Next != nil {
		outcome := outcomeOf(r.Next.Key, truth, rng)
		found, _ := book.Found(r.Next.Key, outcome, r.Next.Name+": "+outcome)
		e.Findings = append(e.Findings, found)
	}
	if after := book.Explain(e); slices.Contains(right, after.Ranked[0].Key) {
		s.after++
	} else {
		s.wrong = append(s.wrong, fmt.Sprintf("   after %v: %s", e.Findings, after.Sentence))
	}
}

// outcomeOf is what a test by hand finds on a car with that part at fault: what a sound part shows, unless the test
// looks at the part itself, and then what it shows nine times in ten.
func outcomeOf(test, truth string, rng *rand.Rand) string {
	finder := map[string]map[string]string{
		"swap_wire":      {"plug_wire": "followed"},
		"swap_coil":      {"coil": "followed", "coil_half": "followed", "coil_shared": "followed"},
		"swap_plug":      {"plug": "followed"},
		"swap_injector":  {"injector": "followed"},
		"swap_towers":    {"coil_half": "moved"},
		"wire_ohms":      {"plug_wire": "bad"},
		"spark_load":     {"plug_wire": "weak", "coil": "weak", "coil_half": "weak", "coil_shared": "weak"},
		"read_plug":      {"plug": "worn", "injector": "white", "air_leak": "white", "air_leak_bank": "white", "fuel_supply": "white", "compression": "oily"},
		"coil_ohms":      {},
		"coil_feed":      {},
		"injector_click": {},
		"injector_ohms":  {},
		"balance":        {"plug_wire": "one", "plug": "one", "coil": "one", "coil_half": "one", "injector": "one", "compression": "one"},
		"smoke":          {"air_leak": "elsewhere", "air_leak_bank": "bank"},
		"compression":    {"compression": "low_one"},
		"leak_down":      {"compression": "high_one"},
		"fuel_pressure":  {"fuel_supply": "low"},
		"vacuum":         {"air_leak": "low", "air_leak_bank": "low", "compression": "flick"},
		"crank_learn":    {},
		"smooth_road":    {},
	}
	sound := map[string]string{
		"swap_wire": "stayed", "swap_coil": "stayed", "swap_plug": "stayed", "swap_injector": "stayed", "swap_towers": "stayed",
		"wire_ohms": "good", "spark_load": "strong", "read_plug": "normal", "coil_ohms": "within", "coil_feed": "good",
		"injector_click": "clicks", "injector_ohms": "within", "balance": "none", "smoke": "none", "compression": "even",
		"leak_down": "even", "fuel_pressure": "good", "vacuum": "steady", "crank_learn": "same", "smooth_road": "same",
	}
	if found, looks := finder[test][truth]; looks && rng.Float64() < 0.9 {
		return found
	}
	return sound[test]
}

// TestConfusion prints how often the engine is right.
func TestConfusion(t *testing.T) {
	n := *cases
	if testing.Short() {
		n = 6
	}
	set := faults(wren(), curlew(), plover())
	scores := run(t, set, n, 1000)
	table(t, set, scores)
	require.NotEmpty(t, scores)
}

func table(t *testing.T, set []fault, scores map[string]*score) {
	var total score
	for _, f := range set {
		s := scores[f.name]
		var said []string
		for key, n := range s.said {
			said = append(said, fmt.Sprintf("%s %d", key, n))
		}
		slices.Sort(said)
		t.Logf("%-12s %3d cases: first %3d %%, in three %3d %%, after the test %3d %%; said %s", f.name, s.cases,
			100*s.first/s.cases, 100*s.three/s.cases, 100*s.after/s.cases, strings.Join(said, ", "))
		total.cases += s.cases
		total.first += s.first
		total.three += s.three
		total.after += s.after
	}
	t.Logf("%-12s %3d cases: first %.1f %%, in three %.1f %%, after the test %.1f %%", "all", total.cases,
		100*float64(total.first)/float64(total.cases), 100*float64(total.three)/float64(total.cases), 100*float64(total.after)/float64(total.cases))
	for _, f := range set {
		for _, w := range scores[f.name].wrong {
			t.Log(f.name, w)
		}
	}
}
