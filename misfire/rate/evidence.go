package rate

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// Ceiling is the rate, per 1,000 firings, up to which a cylinder passes for
// healthy unless the user sets another. Common practice, no source.
const Ceiling = 1.0

// EvidenceLeast is the fewest blocks of a length that [Guard] wants a [Measure] of, GearLeast that of [GearGuard].
const (
	EvidenceLeast = 6
	GearLeast     = 4
)

// Guard is the divisor that makes evidence safe from bursts: with one burst it is the burst, with thirty the dispersion.
// An exponential of evidence so divided has a mean of at most about 1 for bursts of any size up to it.
func Guard(b Bursts) float64 {
	d := 1.0
	for _, l := range b.Lengths {
		d = math.Max(d, 1+1.5*(l.Phi-1-l.chance()))
	}
	if b.growing() {
		d = math.Max(d, 1+b.Growth)
	}
	d = math.Max(d, 3*b.Largest/(1+b.Misses/(4*d)))
	d = math.Max(d, fewWindows(b))
	return math.Max(d, 4/(1+b.Firings/100)) // the first seconds
}

// BadEvidence is how strongly a count speaks for a cylinder above a ceiling (misses per single firing), as a logarithm:
// the mean likelihood of twice, four times, eight times ... the ceiling over that of the ceiling, all divided by a guard.
// Its exponential is an e-value: under the ceiling it comes to 1/a with a chance of at most a, however often one looks
// (Ville 1939).
func BadEvidence(c Count, guard, ceiling float64) float64 {
	c = c.clean()
	var all []float64
	for r := 2.0; r*ceiling <= 1; r *= 2 {
		all = append(all, (c.Misses*math.Log(r)-c.Firings*ceiling*(r-1))/guard)
	}
	return logMean(all)
}

// BadThreshold is the evidence from which one of so many cylinders is called bad; alpha is the chance of ever calling a
// healthy engine so.
func BadThreshold(cylinders int, alpha float64) float64 {
	return math.Log(float64(max(cylinders, 1)) / alpha)
}

// Split is a window, or several alike, that ran in two conditions: firings in either, and the misses of both together.
type Split struct {
	Misses       float64
	First, Other float64 // firings
}

// gearRatios are how many times worse one condition may be than the other.
var gearRatios = [...]float64{1.5, 2, 3, 5, 10, 30}

// WorseEvidence is how strongly windows speak for the first condition being worse than the other, as a logarithm of an
// e-value. Windows that lie within one condition may be given together; those that span both are not left out. whole is
// all firings of either. Where no window spans both it is the conditional binomial likelihood ratio, from which the
// common rate drops out; else the profile of it.
func WorseEvidence(windows []Split, first, other, guard float64) float64 {
	if !(first > 0) || !(other > 0) {
		return math.Inf(-1)
	}
	all := make([]float64, len(gearRatios))
	for i, r := range gearRatios {
		l := 0.0
		misses := 0.0
		for _, w := range windows {
			if w.Misses > 0 {
				l += w.Misses * math.Log((w.Other+r*w.First)/(w.Other+w.First))
				misses += w.Misses
			}
		}
		l += misses * math.Log((first+other)/(other+r*first))
		all[i] = l / guard
	}
	return logMean(all)
}

// WorseThreshold is the evidence from which a condition is called worse: 5 % for having asked both ways, over so many
// questions.
func WorseThreshold(questions int) float64 { return math.Log(2 * float64(max(questions, 1)) / 0.05) }

// GearGuard is the guard of [WorseEvidence]: the dispersion of any length, and the largest burst, about both rates.
func GearGuard(b Bursts) float64 {
	d := math.Max(1, b.Largest)
	for _, l := range b.Lengths {
		d = math.Max(d, l.Phi)
	}
	return d
}

// logMean is the logarithm of the mean of exponentials; -Inf of none.
func logMean(logs []float64) float64 {
	if len(logs) == 0 {
		return math.Inf(-1)
	}
	return floats.LogSumExp(logs) - math.Log(float64(len(logs)))
}
