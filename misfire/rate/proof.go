package rate

import "math"

// Ceiling is the rate, per 1,000 firings, up to which a cylinder passes for
// healthy unless the user sets another. Common practice, no source.
const Ceiling = 1.0

// Proof is the line that a repaired condition must cross to be proven, fixed
// before the running after the repair is looked at.
//
// It is the line of Wald's sequential test for the Poisson process (Wald 1947;
// Dvoretzky, Kiefer and Wolfowitz 1953) of a tenfold fall below R0. The chance
// that a car still missing at R0 or more ever crosses it is at most Alpha
// however often one looks and whenever one stops (Ville 1939). With bursts,
// through Phi, that holds approximately.
type Proof struct {
	R0, R1 float64 // misses per single firing: to be beaten, and hoped for
	Alpha  float64 // chance of a false proof
	Phi    float64 // dispersion of the running before the repair
}

// NewProof draws the line for one failing condition from its rate before the
// repair: R0 is a tenth of the lower limit then, but no less than the healthy
// ceiling (per 1,000 firings); R1 is a tenth of R0; Alpha is 5 %. A ceiling that
// is not between 0 and 1,000 is read as [Ceiling].
func NewProof(before Estimate, ceiling float64) Proof {
	if !(ceiling >= leastCounted && ceiling < perThousand) {
		ceiling = Ceiling
	}
	r0 := ceiling / perThousand
	if tenth := before.Low / 10 / perThousand; tenth > r0 {
		r0 = tenth
	}
	return Proof{R0: r0, R1: r0 / 10, Alpha: 0.05, Phi: atLeastOne(before.Phi)}
}

// Needed is how many firings in all must have run when so many misses came
// among them. Each further miss moves the mark on by 2.56/R0 firings.
func (p Proof) Needed(misses float64) float64 {
	return (p.Phi*math.Log(1/p.Alpha) + count(misses)*math.Log(p.R0/p.R1)) / (p.R0 - p.R1)
}

// Missing is how many firings are still to run, 0 once the line is crossed.
func (p Proof) Missing(after Count) float64 {
	after = after.clean()
	return math.Max(0, p.Needed(after.Misses)-after.Firings)
}

// Crossed tells that enough has run with so few misses. For a verdict the rate
// must also be lower than before: see [Compare].
func (p Proof) Crossed(after Count) bool { return p.Missing(after) == 0 }

// FalseChance is how often at most a car still missing at R0 would ever have
// come up this clean: "if it still missed once in 1,000 firings, a run this
// clean would come up less than once in 20". It is 1 while nothing speaks for
// the repair.
func (p Proof) FalseChance(after Count) float64 {
	after = after.clean()
	evidence := (after.Firings*(p.R0-p.R1) - after.Misses*math.Log(p.R0/p.R1)) / p.Phi
	return math.Min(1, math.Exp(-evidence))
}
