package rate

import (
	"math"
)

// ToSeeOnce is how many firings of a cylinder must run to see a fault of the
// given rate (per single firing) at least once, but for the given chance. phi
// is the fault's own dispersion from before. NaN unless 0 < chance < 1; +Inf at
// a rate of zero.
func ToSeeOnce(rate, chance, phi float64) float64 {
	if !(chance > 0 && chance < 1) {
		return math.NaN()
	}
	return -atLeastOne(phi) * math.Log(chance) / count(rate)
}

// Minutes is the running time of so many firings of one cylinder of a
// four-stroke at the given engine speed: two revolutions each. NaN at a
// standstill.
func Minutes(firings, rpm float64) float64 {
	if !(rpm > 0) {
		return math.NaN()
	}
	return 2 * firings / rpm
}
