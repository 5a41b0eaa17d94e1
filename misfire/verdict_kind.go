package misfire

import (
	"math"
	"slices"
	"time"
)

// Finding is what a drive has shown so far, as one of a few kinds.
type Finding uint8

// Findings, in the order in which a drive comes to them.
const (
	NothingYet     Finding = iota // no drive was looked at
	EngineAwaited                 // the engine has not run
	CounterAwaited                // no counter has been read yet
	Uncounted                     // the car has no counters
	RefreshAwaited                // the counters were read, but not refreshed yet
	NoMiss                        // none was counted
	NoneStandsOut                 // a few, on no cylinder more than chance puts there
	Foremost                      // most on one cylinder, too few to say that it misses more than it may
	Spread                        // the engine misses too much as a whole, no cylinder stands out
	BankMisses                    // a bank misses too much as a whole, no cylinder of it stands out
	MissesNow                     // cylinders have missed too much so far; more running will tell
	Named                         // cylinders miss more than they may
)

// finding is which of them the verdict comes to.
func (t *Tally) finding(s *Summary, v *Verdict) Finding {
	misses := 0.0
	for _, c := range s.Total {
		misses += c.Misses
	}
	switch {
	case s.Cycles == 0:
		return EngineAwaited
	case t.awaited():
		return CounterAwaited
	case !t.counts():
		return Uncounted
	case v.Bank > 0 && len(v.Named()) == 0:
		return BankMisses
	case v.Random:
		return Spread
	case len(v.Cylinders) > 0:
		return Named
	case len(v.Now) > 0:
		return MissesNow
	case s.Refresh.Kind == RefreshUnknown && s.FewestFirings() == 0:
		return RefreshAwaited
	case v.Foremost > 0:
		return Foremost
	case s.FewestFirings() == 0:
		return RefreshAwaited
	case misses == 0:
		return NoMiss
	}
	return NoneStandsOut
}

// Named is every cylinder that misses more than it may: those that are bad, and those that have missed too much so far.
func (v *Verdict) Named() []int {
	return append(v.Cylinders[:len(v.Cylinders):len(v.Cylinders)], v.Now...)
}

// Accuses reports whether a cylinder, a bank or the engine misses more than it may.
func (v *Verdict) Accuses() bool { return len(v.Named()) > 0 || v.Bank > 0 || v.Random }

// Foremost is the total of the cylinder with the most misses; nil when none missed.
func (s *Summary) Foremost() *Cell {
	var found *Cell
	for i := range s.Total {
		if c := &s.Total[i]; c.Misses > 0 && (found == nil || c.Misses > found.Misses) {
			found = c
		}
	}
	return found
}

// Counted reports whether the car counts the misses of any cylinder.
func (s *Summary) Counted() bool {
	return slices.ContainsFunc(s.Total, func(c Cell) bool { return c.Reported })
}

// FewestFirings is the whole firings of the counted cylinder that has the fewest; 0 when none is counted.
func (s *Summary) FewestFirings() float64 {
	fewest := math.Inf(1)
	for _, c := range s.Total {
		if c.Reported {
			fewest = min(fewest, c.Firings)
		}
	}
	if math.IsInf(fewest, 1) {
		return 0
	}
	return math.Floor(fewest)
}

// WorseSince is how far into the drive the rate of a cylinder first began to rise; false when it did not.
func (s *Summary) WorseSince(cylinder int) (into time.Duration, worse bool) {
	if cylinder < 1 || cylinder > len(s.Total) || !s.Total[cylinder-1].Worsening {
		return 0, false
	}
	return s.Total[cylinder-1].Since.Sub(s.Start), true
}
