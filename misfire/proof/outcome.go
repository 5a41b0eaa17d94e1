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

// stillThere tells whether a cylinder misses beyond doubt more than the ceiling allows, however often one looks; looks is
// over how many cylinders it is asked, guard what bursts take off the evidence.
func stillThere(c rate.Count, guard, ceiling float64, looks int) bool {
	return c.Misses >= fewestMisses && rate.BadEvidence(c, guard, ceiling/1000) >= missingAfter+math.Log(float64(max(1, looks)))
}

func estimate(r running, phi float64) rate.Estimate {
	if r.atLeast {
		return rate.AtLeast(r.count.Misses, r.count.Firings, phi)
	}
	return rate.Interval(r.count.Misses, r.count.Firings, phi)
}
