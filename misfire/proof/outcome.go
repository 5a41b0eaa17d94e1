package proof

import (
	"math"

	"stumble/misfire/rate"
)

// Outcome is what a comparison comes to, for one condition or for all.
type Outcome uint8

// The outcomes.
const (
	NotYet       Outcome = iota // too little running to tell
	Proven                      // the repair holds in similar conditions
	Improved                    // clearly better than before, and still above the ceiling
	StillMissing                // misses as it did
	Moved                       // another cylinder misses that did not before
)

// String is the outcome for scripts: proven, improved, not_yet, still_missing or moved.
func (o Outcome) String() string {
	names := [...]string{NotYet: "not_yet", Proven: "proven", Improved: "improved", StillMissing: "still_missing", Moved: "moved"}
	if int(o) < len(names) {
		return names[o]
	}
	return "?"
}

// MarshalText writes the outcome as String does.
func (o Outcome) MarshalText() ([]byte, error) { return []byte(o.String()), nil }

// missingAfter is how much must speak for a rate above the ceiling before a fault counts as there: a healthy
// cylinder comes up so once in 100 drives, however often one looks.
const missingAfter = 2 * math.Ln10

// weigh is how much, as a logarithm of odds, a count speaks for a rate above the ceiling (per 1,000 firings):
// the mean likelihood of twice, four times, eight times ... the ceiling over that of the ceiling. The odds are
// a non-negative supermartingale for every rate up to the ceiling, so that by Ville's inequality the chance
// that a healthy cylinder ever comes to odds of 100 is at most 1 in 100 (as in [rate.Proof], whose mirror
// image this is; mixtures after Robbins 1970, from memory). With bursts, through phi, that holds approximately.
func weigh(c rate.Count, ceiling, phi float64) float64 {
	base := ceiling / 1000
	n := 0.0
	highest, sum := math.Inf(-1), 0.0
	for r := 2 * base; r <= 1; r *= 2 {
		n++
		e := (c.Misses*math.Log(r/base) - c.Firings*(r-base)) / phi
		if e > highest {
			sum, highest = sum*math.Exp(highest-e), e
		}
		sum += math.Exp(e - highest)
	}
	if n == 0 { // the ceiling is so high that no rate lies well above it
		return math.Inf(-1)
	}
	return highest + math.Log(sum/n)
}

// stillThere tells whether a cylinder misses beyond doubt: the lower limit of its rate is above the ceiling,
// and so it stays however often one looks; looks is over how many cylinders it is asked.
func stillThere(e rate.Estimate, c rate.Count, ceiling float64, looks int) bool {
	return e.Above(ceiling) && weigh(c, ceiling, e.Phi) >= missingAfter+math.Log(float64(max(1, looks)))
}

func estimate(r running, phi float64) rate.Estimate {
	if r.atLeast {
		return rate.AtLeast(r.count.Misses, r.count.Firings, phi)
	}
	return rate.Interval(r.count.Misses, r.count.Firings, phi)
}
