package cause

import "math"

// This file works out what rows of likelihoods.csv are held to, their direction and size: what grows with load, with speed, with supply.
// Engines differ in the absolute figures; constants without a source are judgement.

// Air at 20 degrees Celsius and what an engine makes of it.
const (
	paschenA   = 15    // ionisations per cm and torr (a note on Paschen's law for high voltages)
	paschenB   = 365   // volts per cm and torr (the same)
	secondary  = 0.01  // electrons freed for each ion; handbook value from memory
	atmosphere = 101.3 // kPa
	torr       = 760   // of an atmosphere
	squeezed   = 7.5   // volume at bottom dead centre over that at the spark; judgement
	chargeK    = 330   // temperature of the charge before it is squeezed, kelvin; judgement
)

// paschen is the voltage in kV at which a gap of so many mm breaks down in air of so many torr at 20 degrees, in a
// uniform field: an upper bound for the edges of a plug.
func paschen(mm, pressure float64) float64 {
	c := math.Log(paschenA / math.Log(1+1/secondary))
	return paschenB * pressure * mm / 10 / (c + math.Log(pressure*mm/10)) / 1000
}

// gapVoltage is the voltage in kV that a plug gap of so many mm asks for at a manifold pressure in kPa. Only the density
// of the gas counts.
func gapVoltage(mm, manifold float64) float64 {
	return paschen(mm, torr*manifold/atmosphere*squeezed*293/chargeK)
}

// breakVoltage is the voltage in kV that a break of so many mm inside a wire asks for on top of the plug's.
func breakVoltage(mm float64) float64 { return paschen(mm, torr) }

// shunted is the share of the voltage that is left where insulation of so many Mohm leaks it, with a source of half a
// Mohm (judgement).
func shunted(megohms float64) float64 { return megohms / (megohms + 0.5) }

// coilCurrent is the current in A of a coil of 0.7 ohm and 4 mH (judgement) after so many ms at a supply in V; what
// voltage it can give goes with it.
func coilCurrent(volts, ms float64) float64 {
	const ohms, millihenries = 0.7, 4
	return volts / ohms * (1 - math.Exp(-ms*ohms/millihenries))
}

// bankTrim is the share of fuel that a controller adds to a bank of n cylinders where one of them gets a share more than
// it should (less: negative): it holds the mean of the bank.
func bankTrim(more float64, n int) float64 { return 1/(1+more/float64(n)) - 1 }

// lambdas are the air ratios of that cylinder and of its siblings then.
func lambdas(more float64, n int) (own, siblings float64) {
	t := 1 + bankTrim(more, n)
	return 1 / (t * (1 + more)), 1 / t
}

// injected is the share of the fuel asked for that an injector gives whose pulse of so many ms loses so many ms more to
// a low voltage.
func injected(pulse, lost float64) float64 { return max(0, 1-lost/pulse) }

// flowUnder is the share of its flow that an injector gives at another pressure over it.
func flowUnder(kPa, rated float64) float64 { return math.Sqrt(kPa / rated) }

// leakFlow is the air in g/s that a hole of so many mm draws in while the manifold lies under 0.528 of the air's
// pressure, where the flow is choked (ideal gas, kappa 1.4, coefficient 0.7; from memory).
func leakFlow(mm float64) float64 {
	const coefficient, pascal, kelvin, perRoot = 0.7, 101e3, 293, 0.0404
	return 1000 * coefficient * math.Pi / 4 * mm * mm * 1e-6 * pascal * perRoot / math.Sqrt(kelvin)
}

// airFlow is the air in g/s of a four-stroke engine of so many litres at rpm with a filling.
func airFlow(litres, rpm, filling float64) float64 {
	const density = 1.2 // g/l at 20 degrees
	return litres / 2 * rpm / 60 * filling * density
}

// kept is the share of its charge that a cylinder keeps at rpm which loses a share of it at the 250 rpm of cranking: the
// loss goes with time.
func kept(lost, rpm float64) float64 { return math.Pow(1-lost, 250/rpm) }

// residual is the share of burnt gas left in a charge at exhaust and inlet pressures in kPa, at a compression ratio of 10.
func residual(exhaust, inlet float64) float64 { return math.Pow(exhaust/inlet, 1/1.4) / 10 }
