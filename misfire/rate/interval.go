package rate

import "math"

// Count is what was seen of one cylinder in one condition.
type Count struct {
	Misses  float64 // counted, or estimated for a shared-out lump
	Firings float64 // expected combustion events behind them
}

// Rate is misses per single firing, NaN without firings.
func (c Count) Rate() float64 {
	if c.Firings == 0 {
		return math.NaN()
	}
	return c.Misses / c.Firings
}

// clean is the count with impossible numbers read as none.
func (c Count) clean() Count {
	return Count{count(c.Misses), count(c.Firings)}
}

func (c Count) plus(o Count) Count {
	return Count{c.Misses + o.Misses, c.Firings + o.Firings}
}

// Estimate is a rate with its doubt.
type Estimate struct {
	Misses  float64 // x: counted (or, for a shared-out lump, estimated) misses
	Firings float64 // n: expected combustion events behind it

	// Per 1,000 firings with 95 % limits. High is +Inf when only "at least" is
	// known; all three are NaN when Firings is 0.
	Rate, Low, High float64

	Phi     float64 // dispersion used, at least 1
	AtLeast bool    // the counter was saturated: only Low holds
}

const perThousand = 1000

// Interval is the rate of misses among firings with its Clopper-Pearson limits
// (Clopper and Pearson 1934), on misses/phi among firings/phi. For independent
// firings (phi 1) the limits hold the true rate at least 95 % of the time, and
// more than that when few misses are expected: they are wide on purpose.
//
// More misses than firings mean a wrong speed or cylinder map. The rate is then
// left above 1,000 to be seen, the limits are those of a cylinder that always
// misses, and [Estimate.Overcounted] says so.
func Interval(misses, firings, phi float64) Estimate {
	e := estimate(misses, firings, phi)
	if e.Firings == 0 {
		return e
	}
	x, n := e.effective()
	e.Low = perThousand * betaQuantile(tail, x, n-x+1)
	e.High = perThousand * betaQuantile(1-tail, x+1, n-x)
	return e
}

// AtLeast is the rate when the counter stood at its ceiling of 65,535: misses
// and firings up to the last reading below it, of which only the lower limit
// may be told.
func AtLeast(misses, firings, phi float64) Estimate {
	e := Interval(misses, firings, phi)
	e.AtLeast = true
	if e.Firings > 0 {
		e.High = math.Inf(1)
	}
	return e
}

// estimate is the rate without limits yet.
func estimate(misses, firings, phi float64) Estimate {
	nan := math.NaN()
	e := Estimate{Misses: count(misses), Firings: count(firings), Rate: nan, Low: nan, High: nan, Phi: atLeastOne(phi)}
	if e.Firings > 0 {
		e.Rate = perThousand * e.Misses / e.Firings
		if !e.Overcounted() {
			e.Rate = math.Min(e.Rate, perThousand)
		}
	}
	return e
}

// effective is misses and firings over phi, firings never below misses.
func (e Estimate) effective() (x, n float64) {
	return e.Misses / e.Phi, math.Max(e.Firings, e.Misses) / e.Phi
}

// Known tells whether there is a rate at all.
func (e Estimate) Known() bool { return e.Firings > 0 && !math.IsNaN(e.Rate) }

// Overcounted tells that more misses than firings were counted, which neither
// the rounding of firings (2 %) nor quick changes of pedal and gear that were
// left out though the controller judged them (2 or 3 %) can explain: the speed
// or the cylinder map is wrong.
func (e Estimate) Overcounted() bool { return e.Firings > 0 && e.Misses > 1.05*e.Firings+1 }

// Above tells that the rate is beyond doubt higher than ceiling, given per
// 1,000 firings: its lower limit is above it.
func (e Estimate) Above(ceiling float64) bool { return e.Low > ceiling }

// Effective is the number of independent misses that say as much as these.
func (e Estimate) Effective() float64 { return e.Misses / e.Phi }
