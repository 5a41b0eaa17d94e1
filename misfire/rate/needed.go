package rate

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
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

// Power is how likely the test of [Compare] at 5 % one-sided is to find the
// rate ra (per single firing) higher than rb when each side runs n firings:
// the double sum over Poisson counts. NaN when a rate or n is not positive.
func Power(ra, rb, n, phi float64) float64 {
	phi = atLeastOne(phi)
	if !(ra > 0 && rb > 0 && n > 0) || math.IsInf(ra+rb+n, 1) {
		return math.NaN()
	}
	n /= phi
	var power float64
	fewest := 0 // a's smallest count that convicts only grows with b's
	for b := firstLikely(rb * n); b <= lastLikely(rb*n); b++ {
		for midTail(float64(fewest), float64(fewest+b), 0.5) >= 0.05 {
			fewest++
		}
		power += poisson(b, rb*n) * upperPoisson(fewest, ra*n)
	}
	return power
}

// ToTellApart is how many firings each side must run to find the rate ra higher
// than rb (per single firing) with the given power at 5 % one-sided. +Inf when
// ra is not above rb or more than 10,000 effective misses would be needed; NaN
// unless 0 < power < 1.
func ToTellApart(ra, rb, power, phi float64) float64 {
	if !(power > 0 && power < 1) {
		return math.NaN()
	}
	phi, ra, rb = atLeastOne(phi), count(ra), count(rb)
	// A side that never misses has no Poisson mean; a millionth of the other
	// rate is as good.
	rb = math.Max(rb, ra*1e-6)
	if ra <= rb {
		return math.Inf(1)
	}
	most := 10_000 / ra
	if Power(ra, rb, most, 1) < power {
		return math.Inf(1)
	}
	low, high := 0.0, 1/ra
	for Power(ra, rb, high, 1) < power {
		low, high = high, math.Min(2*high, most)
	}
	for high-low > 1e-3*high {
		mid := (low + high) / 2
		if Power(ra, rb, mid, 1) < power {
			low = mid
		} else {
			high = mid
		}
	}
	return phi * high
}

func poisson(k int, mean float64) float64 {
	return distuv.Poisson{Lambda: mean}.Prob(float64(k))
}

// upperPoisson is P(X >= k).
func upperPoisson(k int, mean float64) float64 {
	return distuv.Poisson{Lambda: mean}.Survival(float64(k) - 1)
}

// firstLikely and lastLikely bound where a Poisson variable of that mean lies,
// but for less than a billionth.
func firstLikely(mean float64) int { return max(0, int(mean-7*math.Sqrt(mean)-10)) }
func lastLikely(mean float64) int  { return int(mean+7*math.Sqrt(mean)) + 20 }
