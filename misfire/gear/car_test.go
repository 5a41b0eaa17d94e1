package gear_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/gear"
	"stumble/obd"
	"stumble/obd/sim/car"
)

// ride is a judge in a simulated car that keeps its gear to itself: load, speed, engine speed and throttle ten
// times a second, through the bytes of service 01. It asks for the gear and is not told.
type ride struct {
	car     *car.Car
	judge   *gear.Judge
	at      time.Time
	answers []car.Answer
	sample  obd.Sample
}

func (r *ride) ask(t *testing.T) (gear.Call, bool) {
	t.Helper()
	r.sample.Sent, r.sample.Received = r.at, r.at.Add(40*time.Millisecond)
	r.sample.Readings = r.sample.Readings[:0]
	for _, request := range r.requests() {
		r.answers = r.car.Request(r.answers[:0], r.at, car.EngineNode, request.Append(nil))
		for _, a := range r.answers {
			var err error
			r.sample.Readings, err = obd.AppendLive(r.sample.Readings, obd.Message{Module: obd.Module{ID: uint32(a.Module), Bits: 8}, Data: a.Data})
			require.NoError(t, err)
		}
	}
	return r.judge.Add(&r.sample)
}

// requests are all in one on CAN; older buses take one at a time.
func (r *ride) requests() []obd.Request {
	if r.car.Protocol().CAN() {
		return []obd.Request{obd.Live(obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDAuxiliary, obd.PIDGear)}
	}
	return []obd.Request{obd.Live(obd.PIDRPM), obd.Live(obd.PIDLoad), obd.Live(obd.PIDSpeed), obd.Live(obd.PIDThrottle)}
}

func stateOf(g car.GearState) gear.State {
	return [...]gear.State{car.ParkNeutral: gear.ParkNeutral, car.DriveAtRest: gear.InGear, car.Reverse: gear.InGear, car.Moving: gear.Moving}[g]
}

// The truth is the simulated car's own. At rest nothing tells drive from reverse. The bounds: wrong at most 2 %, and told the gearbox
// about as much right as package lab measures on families with a fan and heaters, which these cars have; one in ten of the
// samples counted lies beside moving or in a stir, where nothing is said.
func TestInferredOnTheSimulatedCar(t *testing.T) {
	simulation(t)
	configs := map[string]func(*car.Config){
		"no-gear":  func(*car.Config) {},
		"curlew":   func(c *car.Config) { c.Vehicle, c.Faults = car.Curlew(), []car.Fault{car.PlugWire{Cylinder: 4}} },
		"plover":   func(c *car.Config) { c.Vehicle, c.Faults = car.Plover(), []car.Fault{car.Coil{Cylinders: []int{1, 2}}} },
		"cold":     func(c *car.Config) { c.Coolant = 5 },
		"dead":     func(c *car.Config) { c.Faults = []car.Fault{car.Dead{Cylinder: 3}} },
		"old rook": func(c *car.Config) { c.Vehicle, c.Faults = car.Rook(), []car.Fault{car.AirLeak{}} },
	}
	for name, change := range configs {
		for _, box := range []gear.Box{gear.NotTold, gear.Automatic} {
			t.Run(name+" "+box.String(), func(t *testing.T) {
				var sum outcome
				for seed := uint64(1000); seed < 1006; seed++ {
					cfg := noGear(t)
					change(&cfg)
					o := rideOut(t, cfg, seed, box)
					sum.add(&o)
				}
				all := float64(sum.all)
				t.Logf("at rest, as it happens: right %.1f %%, wrong %.1f %%; smoothed: right %.1f %%, wrong %.1f %%",
					100*float64(sum.right)/all, 100*float64(sum.wrong)/all, 100*float64(sum.smoothed)/all, 100*float64(sum.mistaken)/all)
				assert.LessOrEqual(t, float64(sum.mistaken)/all, 0.02)
				if box == gear.Automatic {
					assert.GreaterOrEqual(t, float64(sum.smoothed)/all, 0.75)
				}
			})
		}
	}
}

// outcome counts samples at rest with the engine running.
type outcome struct{ right, wrong, smoothed, mistaken, all int }

func (o *outcome) add(p *outcome) {
	o.right, o.wrong, o.all = o.right+p.right, o.wrong+p.wrong, o.all+p.all
	o.smoothed, o.mistaken = o.smoothed+p.smoothed, o.mistaken+p.mistaken
}

func noGear(t *testing.T) car.Config {
	t.Helper()
	for _, s := range car.Scenarios() {
		if s.Name == "no-gear" {
			return s.Config
		}
	}
	t.Fatal("no scenario without a report of the gear")
	return car.Config{}
}

// rideOut drives ten minutes. Moments that are not judged, and those beside moving, count for neither.
func rideOut(t *testing.T, cfg car.Config, seed uint64, box gear.Box) (o outcome) {
	t.Helper()
	start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	c, err := car.New(cfg, seed, start)
	require.NoError(t, err)
	r := ride{car: c, judge: gear.NewJudge(), at: start}
	r.judge.SetBox(box)
	var truth []gear.State // by sample; Unknown truth is left out of the count
	for range 6000 {
		r.at = r.at.Add(100 * time.Millisecond)
		call, _ := r.ask(t)
		state := r.car.State(r.at)
		want := gear.Unknown
		if state.Running && state.Gear != car.Moving {
			want = stateOf(state.Gear)
		}
		if want != gear.Unknown {
			o.all++
			o.right += one(call.State == want)
			o.wrong += one(call.State != want && call.State != gear.Unknown && call.State != gear.Moving)
		}
		truth = append(truth, want)
	}
	spans := r.judge.Spans()
	for i, want := range truth {
		at := start.Add(time.Duration(i+1) * 100 * time.Millisecond)
		for len(spans) > 1 && !spans[1].From.After(at) {
			spans = spans[1:]
		}
		s := &spans[0]
		if want == gear.Unknown || s.Call.State == gear.Unknown {
			continue
		}
		o.smoothed += one(s.Call.State == want)
		o.mistaken += one(s.Call.State != want && s.Call.State != gear.Moving && !s.Stir)
	}
	return o
}

func one(is bool) int {
	if is {
		return 1
	}
	return 0
}

// A number is only given where gears hold long enough to be told; given, it is right. On automatics that leave
// first gear before their converter locks none is given.
func TestGearNumbersOnTheSimulatedCar(t *testing.T) {
	for name, known := range map[string]float64{"rook": 0.3, "wren": 0, "curlew": 0, "plover": 0} {
		t.Run(name, func(t *testing.T) {
			cfg := noGear(t)
			cfg.Vehicle = map[string]func() car.Vehicle{"rook": car.Rook, "wren": car.Wren, "curlew": car.Curlew, "plover": car.Plover}[name]()
			start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
			var moving, right, wrong float64
			for seed := range uint64(5) {
				c, err := car.New(cfg, seed, start)
				require.NoError(t, err)
				r := ride{car: c, judge: gear.NewJudge(), at: start}
				for range 9000 {
					r.at = r.at.Add(100 * time.Millisecond)
					call, _ := r.ask(t)
					state := c.State(r.at)
					if state.Gear != car.Moving || call.State != gear.Moving {
						continue
					}
					moving++
					switch call.Number {
					case 0:
					case state.Number:
						right++
					default:
						wrong++
					}
				}
			}
			t.Logf("moving: %.1f %% numbered right, %.2f %% wrong", 100*right/moving, 100*wrong/moving)
			assert.GreaterOrEqual(t, right/moving, known)
			assert.LessOrEqual(t, wrong/moving, 0.01)
		})
	}
}
