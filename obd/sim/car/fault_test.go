package car

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// rates is a fault's chance per 1,000 firings of each cylinder under c.
func rates(v Vehicle, c Conditions, faults ...Fault) []float64 {
	b := combustion{v: &v, faults: faults}
	b.judge(&c)
	out := make([]float64, v.Cylinders())
	for i := range out {
		out[i] = 1000 * b.chance[i]
	}
	return out
}

// Conditions of a warm car, as the machine gives them.
var (
	parked  = Conditions{Gear: ParkNeutral, Load: 21, RPM: 740, Coolant: 90}
	driven  = Conditions{Gear: DriveAtRest, Load: 33, RPM: 670, Coolant: 90}
	backed  = Conditions{Gear: Reverse, Load: 34.2, RPM: 670, Coolant: 90}
	raised  = Conditions{Gear: ParkNeutral, Load: 23, RPM: 2500, Coolant: 90}
	cruised = Conditions{Gear: Moving, Load: 36, RPM: 2000, Coolant: 91}
	pulled  = Conditions{Gear: Moving, Load: 82, RPM: 3000, Coolant: 92}
	chilled = Conditions{Gear: ParkNeutral, Load: 23, RPM: 1000, Coolant: 20}
)

// The figures of the broken wire: about 2 in Park, 31 in Drive, 35 in Reverse, 60 in a pull, a sound cylinder
// 0.02, the coil's other cylinder well under 0.5 (per 1,000).
func TestPlugWireRates(t *testing.T) {
	at := func(c Conditions) []float64 { return rates(Wren(), c, PlugWire{Cylinder: 2}) }
	assert.InDelta(t, 2, at(parked)[1], 0.1)
	assert.InDelta(t, 2, at(raised)[1], 0.1)
	assert.InDelta(t, 31, at(driven)[1], 0.5)
	assert.InDelta(t, 35, at(backed)[1], 0.5)
	assert.InDelta(t, 60, at(pulled)[1], 1)
	assert.InDelta(t, 0.02, at(pulled)[0], 1e-6)
	mate := at(pulled)[2] // 2 and 3 share a coil, engine-layouts.csv: inline 4, pairs 1+4 2+3
	assert.True(t, mate > 0.05 && mate < 0.45, "coil mate misses %.2f", mate)
	assert.InDelta(t, 0.02, at(pulled)[3], 1e-6)
}

// The coil of the demonstration: nothing until it is hot through, then with the load, and most in the low gears. The
// figures are of our making: no source.
func TestBreakdown(t *testing.T) {
	at := func(c Conditions, gear int) float64 {
		c.Number = gear
		return rates(Curlew(), c, Breakdown{Cylinder: 5})[4]
	}
	assert.InDelta(t, 0.02, at(chilled, 0), 1e-6, "the first mile is sound")
	stood := driven
	stood.Coolant = 79
	assert.InDelta(t, 0.02, at(stood, 1), 1e-6, "and so is an engine that has stood for a while")
	assert.Greater(t, at(driven, 1), 3*at(parked, 0), "frequent in gear")
	pulling := Conditions{Gear: Moving, Load: 60, RPM: 1500, Coolant: 92}
	assert.Greater(t, at(pulling, 1), 2*at(driven, 1), "pulling away")
	assert.Equal(t, at(pulling, 1), at(pulling, 2))
	assert.Greater(t, at(pulling, 2), at(pulling, 3))
	assert.Greater(t, at(pulling, 1), 2*at(pulling, 6), "in the low gears")
	for cyl, rate := range rates(Curlew(), pulling, Breakdown{Cylinder: 5}) {
		if cyl+1 != 5 {
			assert.InDelta(t, 0.02, rate, 1e-6, "a coil of its own serves one cylinder")
		}
	}
}

// The patterns of misfire-rules sections 11 and 12.
func TestFaultPatterns(t *testing.T) {
	wren, curlew, plover := Wren(), Curlew(), Plover()

	plug := func(c Conditions) float64 { return rates(wren, c, WornPlug{Cylinder: 3})[2] }
	assert.Greater(t, plug(pulled), 10*plug(parked), "a wide gap fails under load")

	coil := rates(wren, pulled, Coil{Cylinders: []int{1, 4}})
	assert.Equal(t, coil[0], coil[3], "a shared coil sets both partners")
	assert.Greater(t, coil[0], 100*coil[1])
	cold := rates(wren, chilled, Coil{Cylinders: []int{1, 4}})
	assert.Less(t, cold[0], 0.5, "only hot")

	injector := func(c Conditions) float64 { return rates(plover, c, Injector{Cylinder: 3})[2] }
	assert.True(t, injector(parked) > 3 && injector(pulled) > injector(cruised) && injector(cruised) > injector(parked))

	lean := rates(curlew, parked, LeanBank{Bank: 2})
	for _, cyl := range []int{4, 5, 6} {
		assert.InDelta(t, 9, lean[cyl-1], 0.5)
		assert.InDelta(t, 0.02, lean[cyl-4], 1e-6)
	}

	leak := func(c Conditions) []float64 { return rates(wren, c, AirLeak{}) }
	assert.InDelta(t, leak(parked)[0], leak(parked)[3], 1e-9, "all alike")
	assert.Greater(t, leak(parked)[0], 5*leak(cruised)[0], "an air leak is for idle")

	supply := func(c Conditions) float64 { return rates(wren, c, FuelSupply{})[0] }
	assert.Greater(t, supply(pulled), 20*supply(parked), "fuel supply is for load")

	valve := func(c Conditions) float64 { return rates(plover, c, Compression{Cylinder: 4})[3] }
	assert.Greater(t, valve(chilled), 2*valve(parked), "worst cold")
	assert.Less(t, valve(pulled), valve(parked)/4, "gone when busy")

	assert.Equal(t, 1000.0, rates(wren, parked, Dead{Cylinder: 1})[0])
	two := rates(wren, pulled, PlugWire{Cylinder: 2}, PlugWire{Cylinder: 2})[1]
	one := rates(wren, pulled, PlugWire{Cylinder: 2})[1]
	assert.InDelta(t, 1000*(1-math.Pow(1-one/1000, 2)), two, 0.02, "independent faults")
}

// exact is the two-sided chance of a count so far from its Poisson mean.
func exact(misses uint64, expected float64) float64 {
	d := distuv.Poisson{Lambda: expected}
	below := d.CDF(float64(misses))
	above := 1.0
	if misses > 0 {
		above = 1 - d.CDF(float64(misses)-1)
	}
	return min(1, 2*min(below, above))
}

// Each firing stands for itself here, so the number of misses is Poisson (rates are small) with the sum of the
// chances as its mean; 1 in 100,000 is beyond chance over the couple of hundred comparisons made.
func TestMissesComeAtTheirChances(t *testing.T) {
	if testing.Short() {
		t.Skip("hours of driving")
	}
	for _, s := range complaints() {
		if s.Name == "dead-cylinder" {
			continue // nothing left to chance
		}
		t.Run(s.Name, func(t *testing.T) {
			cfg := s.Config
			cfg.Burst = Burst{}
			c, err := New(cfg, 2024, zero)
			require.NoError(t, err)
			c.State(after(3600))
			truth := c.Truth()
			chi, cells := 0.0, 0.0
			for cyl := 1; cyl <= cfg.Vehicle.Cylinders(); cyl++ {
				for g := ParkNeutral; g <= Moving; g++ {
					sum := truth.Sum(cyl, func(k Key) bool { return k.Gear == g })
					assert.Greater(t, exact(sum.Misses, sum.Expected), 1e-5,
						"cylinder %d, %v: %d misses, %.1f expected", cyl, g, sum.Misses, sum.Expected)
				}
				for band := 0; band < 100; band += 5 {
					sum := truth.Sum(cyl, func(k Key) bool { return k.Load >= band && k.Load < band+5 })
					if sum.Expected >= 5 {
						chi += (float64(sum.Misses) - sum.Expected) * (float64(sum.Misses) - sum.Expected) / sum.Expected
						cells++
					}
				}
			}
			require.Greater(t, cells, 2.0)
			assert.Less(t, chi, distuv.ChiSquared{K: cells}.Quantile(0.9999), "over %v cells", cells)
		})
	}
}

func TestDeadCylinderMissesEveryTime(t *testing.T) {
	c := mustScenario(t, "dead-cylinder", 1)
	c.State(after(300))
	sum := c.Truth().Sum(4, nil)
	assert.Greater(t, sum.Firings, uint64(1000))
	assert.Equal(t, sum.Firings, sum.Misses)
	assert.InDelta(t, float64(sum.Firings), sum.Expected, 1e-6)
}

// Every cylinder fires once in two turns of the crank (misfire-rules section 1.3): at any time no cylinder is
// more than one firing ahead, and their sum is half the turns for each.
func TestFiringsFollowTheCrank(t *testing.T) {
	for _, v := range []Vehicle{Wren(), Curlew(), Plover()} {
		c := settled(t, v, ParkIdle, 0)
		from := c.machine.revs
		c.State(after(600))
		turns := c.machine.revs - from
		truth := c.Truth()
		low, high := uint64(math.MaxUint64), uint64(0)
		for cyl := 1; cyl <= v.Cylinders(); cyl++ {
			n := truth.Sum(cyl, nil).Firings
			low, high = min(low, n), max(high, n)
			assert.InDelta(t, turns/2, float64(n), 1.5)
		}
		assert.LessOrEqual(t, high-low, uint64(1))
	}
}

// Long-run rate unchanged, misses in runs: the index of dispersion of counts over long windows is, for a spell of
// mean length L and share s and chance p/s within it, 1 + 2 p (1/s - 1) r/(1 - r) with r = 1 - 1/L - s/((1-s)L),
// the correlation of the spell from one firing to the next.
func TestBurstsKeepTheRateAndSpreadTheCounts(t *testing.T) {
	cases := []struct {
		burst Burst
		p     float64
	}{
		{Burst{}, 0.031},
		{Burst{Share: 0.25, Run: 4}, 0.031},
		{Burst{Share: 0.1, Run: 20}, 0.031},
		{Burst{Share: 0.1, Run: 20}, 0.4},
	}
	for _, k := range cases {
		t.Run(fmt.Sprint(k), func(t *testing.T) {
			v := Wren()
			b := combustion{v: &v, burst: k.burst, rng: mustScenario(t, "healthy", 77).combustion.rng}
			b.chance[0] = k.p
			const windows, length = 4000, 1000
			var sum, squares float64
			for range windows {
				n := 0.0
				for range length {
					if b.fire(1) {
						n++
					}
				}
				sum += n
				squares += n * n
			}
			mean := sum / windows
			variance := squares/windows - mean*mean
			want := 1 - k.p
			if s, l := k.burst.Share, k.burst.Run; l > 0 {
				r := 1 - 1/l - s/((1-s)*l)
				high, low := min(1, k.p/s), max(0, (k.p-s)/(1-s))
				spread := s * (1 - s) * (high - low) * (high - low)
				want += 2 * spread / k.p * r / (1 - r)
			}
			assert.InEpsilon(t, k.p*length, mean, 5*math.Sqrt(variance/windows)/mean+1e-9)
			assert.InEpsilon(t, want, variance/mean, 0.12, "dispersion")
		})
	}
}

func TestDemonstrationIsMildlyBurstyOnly(t *testing.T) {
	b := wrenComplaint().Burst
	r := 1 - 1/b.Run - b.Share/((1-b.Share)*b.Run)
	assert.Less(t, 1+2*0.031*(1/b.Share-1)*r/(1-r), 1.6)
}

func TestWorseningComesAtItsTime(t *testing.T) {
	f := Worsening{Wire: PlugWire{Cylinder: 2}, After: 300, Factor: 3}
	early, late := driven, driven
	early.Elapsed, late.Elapsed = 299.9, 300
	assert.InDelta(t, 31, rates(Wren(), early, f)[1], 0.5)
	assert.InDelta(t, 93, rates(Wren(), late, f)[1], 1.5)
}

// Fuel trims, misfire-rules section 11: an air leak is plus at idle and near zero at 2500 rpm, fuel supply near zero
// at idle and rising with load, an ignition miss plus on its bank.
func TestTrimsFollowTheFault(t *testing.T) {
	trims := func(v Vehicle, m Maneuver, faults ...Fault) (sum [2]float64) {
		c, err := New(Config{Vehicle: v, Running: true, Coolant: 90, Faults: faults}, 5, zero)
		require.NoError(t, err)
		c.Do(zero, m, 0)
		n := 0.0
		for s := 60.0; s < 120; s += 0.5 {
			c.State(after(s))
			for bank := range sum {
				sum[bank] += c.mixture.short[bank] + c.mixture.long[bank]
			}
			n++
		}
		return [2]float64{sum[0] / n, sum[1] / n}
	}
	sound := trims(Wren(), ParkIdle)
	assert.InDelta(t, 0.8, sound[0], 1.5)

	assert.Greater(t, trims(Wren(), ParkIdle, AirLeak{})[0], 12.0)
	assert.Less(t, trims(Wren(), RaisedIdle, AirLeak{})[0], 5.0)

	bank := trims(Curlew(), ParkIdle, LeanBank{Bank: 2})
	assert.Greater(t, bank[1], 15.0)
	assert.Less(t, bank[0], 3.0)

	assert.Less(t, trims(Wren(), ParkIdle, FuelSupply{})[0], 5.0)
	assert.Greater(t, trims(Wren(), Pull, FuelSupply{})[0], 14.0)

	dead := trims(Curlew(), ParkIdle, Dead{Cylinder: 5})
	assert.Greater(t, dead[1], 20.0, "unburnt oxygen looks lean")
	assert.InDelta(t, sound[0], dead[0], 1.5)

	wire := trims(Wren(), DriveIdle, PlugWire{Cylinder: 2})
	within(t, wire[0]-sound[0], 0.3, 3, "a few misses, a little trim")
}

func TestFaultsMustFitTheVehicle(t *testing.T) {
	for _, f := range []Fault{PlugWire{Cylinder: 5}, WornPlug{}, Coil{Cylinders: []int{1, 9}}, LeanBank{Bank: 2}, Dead{Cylinder: -1}} {
		_, err := New(Config{Vehicle: Wren(), Faults: []Fault{f}}, 1, zero)
		assert.ErrorContains(t, err, "Larkspur Wren", "%#v", f)
	}
}
