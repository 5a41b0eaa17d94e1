package cause

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// The voltage that a gap asks for. By hand from Paschen's law with the constants of the file; 3.3 kV for 0.6 mm at one
// atmosphere and 8.6 at 8 to 1 and 0.4 bar stand in a textbook's chapter on ignition as 2 to 3 and about 8, for the
// uniform field is an upper bound.
func TestGapVoltage(t *testing.T) {
	for gap, want := range map[float64][4]float64{
		0.7: {7.5, 11.7, 17.4, 30}, 0.9: {9.2, 14.5, 21.5, 38}, 1.1: {10.9, 17.2, 25.6, 45}, 1.4: {13.4, 21.2, 31.6, 55}, 1.8: {16.6, 26.4, 39.3, 69},
	} {
		for i, manifold := range []float64{35, 60, 95, 180} {
			assert.InEpsilon(t, want[i], gapVoltage(gap, manifold), 0.04, "%v mm at %v kPa", gap, manifold)
		}
	}
	assert.InDelta(t, 3.3, paschen(0.6, torr), 0.1)
	assert.InDelta(t, 2.3, gapVoltage(1.1, 95)/gapVoltage(1.1, 35), 0.1, "idle to full load")
	assert.InDelta(t, 0.23, gapVoltage(1.4, 60)/gapVoltage(1.1, 60)-1, 0.02, "0.3 mm more")
	assert.InDelta(t, gapVoltage(1.4, 60), gapVoltage(1.1, 80), 1.5, "0.3 mm asks what 20 kPa ask")
	assert.Greater(t, gapVoltage(1.1, 180), 40.0, "boost is beyond a coil of 40 kV")
}

// A broken wire adds to it; a leak takes away from it. By hand.
func TestBreakAndLeak(t *testing.T) {
	for mm, want := range map[float64]float64{0.2: 1.4, 0.5: 2.9, 1: 5.0, 2: 8.9, 3: 12.6} {
		assert.InDelta(t, want, breakVoltage(mm), 0.15, "%v mm", mm)
	}
	const coil = 30.0
	assert.Less(t, gapVoltage(1.1, 35)+breakVoltage(2), coil, "fires at idle")
	assert.Greater(t, gapVoltage(1.1, 95)+breakVoltage(2), coil, "misses at full load")
	for megohms, want := range map[float64]float64{10: 0.95, 1: 0.67, 0.3: 0.38} {
		assert.InDelta(t, want, shunted(megohms), 0.01)
	}
}

// A coil gives less of a low supply: by hand, three milliseconds of charging.
func TestCoilCurrent(t *testing.T) {
	for volts, want := range map[float64][2]float64{14: {8.2, 1}, 12: {7.0, 0.86}, 11: {6.4, 0.79}, 10: {5.8, 0.71}, 9: {5.3, 0.64}} {
		assert.InDelta(t, want[0], coilCurrent(volts, 3), 0.06)
		assert.InDelta(t, want[1], coilCurrent(volts, 3)/coilCurrent(14, 3), 0.01)
	}
}

// One cylinder's fault as its bank's trim, and what it makes of the siblings: by hand.
func TestOneOfABank(t *testing.T) {
	for _, c := range []struct {
		more                float64
		n                   int
		trim, own, siblings float64
	}{
		{-0.3, 3, 0.11, 1.29, 0.90}, {-0.3, 4, 0.08, 1.32, 0.93}, {-0.3, 6, 0.05, 1.36, 0.95},
		{0.3, 3, -0.09, 0.85, 1.10}, {0.3, 4, -0.07, 0.83, 1.08}, {0.3, 6, -0.05, 0.81, 1.05},
	} {
		assert.InDelta(t, c.trim, bankTrim(c.more, c.n), 0.005)
		own, siblings := lambdas(c.more, c.n)
		assert.InDelta(t, c.own, own, 0.011)
		assert.InDelta(t, c.siblings, siblings, 0.006)
	}
}

// Fuel by pressure, and a poor circuit by pulse: by hand, 0.75 ms of dead time lost to three volts.
func TestInjectorPhysics(t *testing.T) {
	assert.InDelta(t, -0.087, flowUnder(250, 300)-1, 0.001)
	assert.InDelta(t, -0.18, flowUnder(200, 300)-1, 0.005)
	assert.InDelta(t, 0.70, injected(2.5, 0.75), 0.01)
	assert.InDelta(t, 0.95, injected(15, 0.75), 0.01)
}

// A leak by engine air, a cylinder's leak by speed, and burnt gas by pressure: by hand.
func TestFlows(t *testing.T) {
	for mm, want := range map[float64]float64{1: 0.13, 2: 0.53, 3: 1.18, 5: 3.3} {
		assert.InDelta(t, want, leakFlow(mm), 0.03*want+0.005)
	}
	for air, want := range map[float64]float64{2.5: 0.21, 5: 0.10, 12: 0.04, 40: 0.01} {
		assert.InDelta(t, want, leakFlow(2)/air, 0.01)
	}
	assert.InDelta(t, 45, airFlow(2, 2500, 0.9), 0.1)
	for rpm, want := range map[float64]float64{250: 0.60, 700: 0.83, 1000: 0.88, 2000: 0.94, 4000: 0.97} {
		assert.InDelta(t, want, kept(0.4, rpm), 0.005)
	}
	assert.InDelta(t, 0.21, residual(101, 35), 0.005)
	assert.InDelta(t, 0.145, residual(101, 60), 0.001)
	assert.InDelta(t, 0.10, residual(101, 101), 0.001)
	assert.InDelta(t, 0.19, residual(150, 60), 0.005)
	assert.InDelta(t, 0.14, residual(150, 95), 0.005)
}
