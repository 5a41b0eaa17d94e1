package misfire_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"runtime"
	"sort"
	"sync"
	"testing"
	"text/tabwriter"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
	"stumble/obd/vehicle"
)

// The simulated car knows what really happened. These tests drive it, through adapter, dialogue and poller,
// and hold what the tally says against that. -seeds 500 prints the tables that the README quotes:
//
//	go test ./misfire -run Truth -seeds 500 -v
var seeds = flag.Int("seeds", 24, "simulated drives behind each line of the truth tables")

// trip is one simulated drive with what is known of it.
type trip struct {
	summary *misfire.Summary
	truth   car.Truth
	firing  []int
}

var errOver = errors.New("the trip is over")

// drive polls a scenario for a time. A helper marks the gear a second after the lever was moved, as on the
// road.
func drive(t testing.TB, scenario string, seed uint64, length time.Duration) trip {
	t.Helper()
	clk := clock.NewStepped(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC))
	s, err := sim.Open(scenario, seed, clk)
	require.NoError(t, err)
	a, err := elm.Connect(context.Background(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }})
	require.NoError(t, err)
	defer a.Close()
	caps, err := vehicle.Discover(context.Background(), a)
	require.NoError(t, err)
	cfg := misfire.Config{}
	if n := caps.Cylinders(); n > 0 {
		cfg.Engine, err = engine.Plain(n)
		require.NoError(t, err)
	}
	tally := misfire.NewTally(cfg)
	tally.SetLimits(caps.CatalystLimit, caps.EmissionLimit)
	end := clk.Now().Add(length)
	h := helper{tally: tally}
	err = vehicle.NewPoller(a, caps, clk).Run(context.Background(), func(sample *obd.Sample) error {
		h.look(s.Car, sample.Received)
		tally.Add(sample)
		if !sample.Received.Before(end) {
			return errOver
		}
		return nil
	})
	require.ErrorIs(t, err, errOver)
	tally.Finish()
	s.Car.State(clk.Now())
	return trip{summary: tally.Summary(), truth: s.Car.Truth(), firing: s.Car.Vehicle().FiringOrder}
}

// helper marks the gear by hand.
type helper struct {
	tally *misfire.Tally
	gear  car.GearState
	since time.Time
	told  bool
}

func (h *helper) look(c *car.Car, at time.Time) {
	g := c.State(at).Gear
	if g != h.gear || h.since.IsZero() {
		h.gear, h.since, h.told = g, at, false
	}
	if !h.told && at.Sub(h.since) >= time.Second {
		h.tally.Mark(at, inGear(g))
		h.told = true
	}
}

func inGear(g car.GearState) gear.State {
	return [...]gear.State{car.ParkNeutral: gear.ParkNeutral, car.DriveAtRest: gear.Drive, car.Reverse: gear.Reverse, car.Moving: gear.Moving}[g]
}

// match tells the truth's cells that belong to a condition of the tally.
func match(c misfire.Condition) func(car.Key) bool {
	return func(k car.Key) bool {
		return inGear(k.Gear) == c.Gear && misfire.BandOfLoad(float64(k.Load)) == c.Load &&
			misfire.BandOfRPM(float64(k.RPM)) == c.RPM && k.Warm == c.Warm
	}
}

func ofGear(g gear.State) func(car.Key) bool {
	return func(k car.Key) bool { return inGear(k.Gear) == g }
}

// overSeeds runs one drive a seed, on all processors, and hands each to check in order of seed.
func overSeeds(t *testing.T, scenario string, length time.Duration, check func(seed int, d trip)) {
	t.Helper()
	results := make([]trip, *seeds)
	var work sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		work.Go(func() {
			for i := range next {
				results[i] = drive(t, scenario, uint64(i+1), length)
			}
		})
	}
	for i := range results {
		next <- i
	}
	close(next)
	work.Wait()
	for i := range results {
		check(i+1, results[i])
	}
}

// coverage counts how often the printed limits held the truth.
type coverage struct{ held, all int }

func (c *coverage) add(cell misfire.Cell, truth car.Tally) {
	if truth.Firings == 0 || cell.Firings == 0 || !cell.Apart {
		return
	}
	c.all++
	if r := 1000 * truth.Expected / float64(truth.Firings); r >= cell.Low && r <= cell.High {
		c.held++
	}
}

func (c coverage) share() float64 { return float64(c.held) / float64(c.all) }

func TestTruthTable(t *testing.T) {
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "scenario\tcells of 20 misses\theld\tgear cells\theld")
	for _, scenario := range truthScenarios() {
		var fine, gears coverage
		per := map[string]*coverage{}
		overSeeds(t, scenario, 10*time.Minute, func(seed int, d trip) {
			for _, c := range d.summary.Cells {
				if c.Misses > 20 {
					fine.add(c, d.truth.Sum(c.Cylinder, match(c.Condition)))
				}
			}
			for _, c := range d.summary.ByGear {
				if c.Misses > 20 {
					truth := d.truth.Sum(c.Cylinder, ofGear(c.Condition.Gear))
					gears.add(c, truth)
					key := fmt.Sprint(c.Cylinder, c.Condition.Gear)
					if per[key] == nil {
						per[key] = &coverage{}
					}
					per[key].add(c, truth)
					if testing.Verbose() && os.Getenv("TRUTH_MISS") != "" {
						r := 1000 * truth.Expected / float64(truth.Firings)
						if r < c.Low || r > c.High {
							fmt.Printf("%s seed %d cyl %d %s: %.1f of %.0f = %.1f (%.1f-%.1f) mixed %.2f phi %.2f; truth %v of %v = %.1f\n", scenario, seed, c.Cylinder, c.Condition.Gear, c.Misses, c.Firings, c.Rate, c.Low, c.High, c.Mixed, c.Phi, truth.Misses, truth.Firings, r)
						}
					}
				}
			}
		})
		fmt.Fprintf(w, "%s\t%d\t%.1f %%\t%d\t%.1f %%\n", scenario, fine.all, 100*fine.share(), gears.all, 100*gears.share())
		var keys []string
		for k := range per {
			keys = append(keys, k)
		}
		sort.Strings(keys)
		for _, k := range keys {
			fmt.Fprintf(w, "   %s\t\t\t%d\t%.1f\n", k, per[k].all, 100*per[k].share())
		}
		_ = assert.Greater
	}
	w.Flush()
}

func truthScenarios() []string {
	return []string{"wren", "wren-slow-counter", "wren-live-counter", "wren-timed-counter", "wren-bursty", "wren-coil-hot", "random-leak", "fuel-supply",
		"curlew-worn-plug", "curlew-lean-bank", "plover-injector", "plover-compression", "dead-cylinder", "no-gear", "healthy"}
}
