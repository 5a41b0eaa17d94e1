package rate

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// changeRatios are how many times a rate may have risen.
var changeRatios = [...]float64{2, 3, 5, 10, 30, 100}

// ChangeEvidence is how strongly running speaks for a rate that rose at a point, as a logarithm of an e-value. Only the
// ratio of both parts enters: a part before without a miss is a baseline, too, and none can be pulled low by having been
// learnt. A doubling is given half of the belief beforehand: it is the hardest to see.
func ChangeEvidence(before, after Count, guard float64) float64 {
	return changeEvidence(before, after, guard, [...]float64{0.5, 0.1, 0.1, 0.1, 0.1, 0.1})
}

func changeEvidence(before, after Count, guard float64, weights [len(changeRatios)]float64) float64 {
	before, after = before.clean(), after.clean()
	if after.Misses == 0 || before.Firings == 0 || after.Firings == 0 {
		return math.Inf(-1)
	}
	var logs [len(changeRatios)]float64
	all := before.plus(after)
	for i, r := range changeRatios {
		logs[i] = (after.Misses*math.Log(r)+all.Misses*math.Log(all.Firings/(before.Firings+r*after.Firings)))/guard + math.Log(weights[i])
	}
	return floats.LogSumExp(logs[:])
}

// ChangeThreshold is the evidence from which a rate is called risen. One in about 100 cylinder-hours does so by chance, at
// whatever rate it misses: one in 20 hours of an engine of five cylinders; more cylinders raise it.
func ChangeThreshold(cylinders int) float64 {
	const usual = 6.5
	return usual + math.Log(math.Max(1, float64(cylinders)/4))
}

// SteadyGuard is the guard of [ChangeEvidence] where the part before shows no bursts, StrictGuard where it may. b is the
// whole running about both rates, before and after its parts by themselves.
func SteadyGuard(b, before, after Bursts) float64 {
	d := math.Max(excessGuard(b, 1.5, 2), math.Max(excessGuard(before, 1.5, 2), excessGuard(after, 1.5, 2)))
	if before.Largest > 2 {
		d = math.Max(d, 1.5*before.Largest)
	}
	return math.Max(d, fewWindows(after))
}

// fewWindows is the misses of a window with a miss, of running that has few windows: all of one may be one burst.
func fewWindows(b Bursts) float64 {
	const few = 12
	if b.Windows >= few || b.Missed == 0 {
		return 1
	}
	return b.Misses / float64(b.Missed)
}

// StrictGuard: see [SteadyGuard].
func StrictGuard(b, before, after Bursts) float64 {
	d := math.Max(excessGuard(b, 2, 4), math.Max(excessGuard(before, 2, 4), excessGuard(after, 2, 4)))
	for _, part := range [...]Bursts{b, before, after} {
		if part.growing() {
			d = math.Max(d, 1+part.Growth)
		}
	}
	return math.Max(math.Max(d, fewWindows(after)), 3*before.Largest)
}

// excessGuard is the guard for one piece of running, with how much its dispersion and its largest burst weigh.
func excessGuard(b Bursts, byPhi, byLargest float64) float64 {
	d := 1.0
	for _, l := range b.Lengths {
		d = math.Max(d, 1+byPhi*(l.Phi-1-l.chance()))
	}
	if b.Largest > 1 {
		d = math.Max(d, byLargest*b.Largest/(1+b.Misses/(4*d)))
	}
	return d
}

// Steady tells that the running shows no bursts: hardly a miss was in it, or enough of it ran and they came alone. That
// takes fewer misses than limits do: eight that came one by one in 6,000 firings would have come together in bursts.
func (b *Bursts) Steady() bool {
	const few, alone = 3, 8
	return b.Misses < few || b.Misses >= alone && b.Largest <= 2 && b.enough() && b.level() || b.steady()
}
