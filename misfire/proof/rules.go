package proof

import (
	"math"
	"time"

	"stumble/obd"
)

// RuleKind is what a car does by itself after a repair. The rules are typical ones, not the law for one car.
type RuleKind uint8

// Kinds of rule.
const (
	PendingGoes   RuleKind = iota // the pending code goes: 13 CCR 1968.2 (e)(3.4), from memory and service pages
	LampGoesOut                   // (d)(2.3), (e)(3.4.5), from memory and service pages; some makers count to four
	StoredGoes                    // the stored code goes: (d)(2.4), from memory and service pages; some older pages say 80
	PermanentGoes                 // the permanent code goes: (d)(2.5.2)(B), read; the drive (d)(4.3.2), from memory
	Disregarded                   // California's inspection passes over a permanent code: station page on 16 CCR 3340.42.2
)

// Rule is one of them, and how far it has come.
type Rule struct {
	Kind       RuleKind
	Done, Need float64   // driving cycles in a row, warm-ups, or drives, by the kind
	Known      bool      // false when the car does not tell enough
	Met        bool      // nothing more is needed
	Ending     bool      // shutting the engine off now completes what is needed
	Missed     bool      // the present drive cannot complete it: it missed
	Lacks      TripLacks // of the present drive, where a drive is wanted
	WarmUps    int       // seen, where they count
	Kilometres float64   // driven since clear, where they count; NaN when not told
}

// TripLacks is what a drive still lacks of a general denominator trip; 0 where nothing.
type TripLacks struct{ Running, AtSpeed, Idle time.Duration }

// Counts of the rules.
const (
	cyclesToPendingGone = 1
	cyclesToLampOut     = 3
	warmUpsToErase      = 40
	warmUpsToDisregard  = 15

	MilesToDisregard = 200
	KilometresAMile  = 1.609344
)

// Rules is what the car does by itself and what it still needs.
func (p Progress) Rules() []Rule {
	return []Rule{
		p.cycleRule(PendingGoes, cyclesToPendingGone),
		p.cycleRule(LampGoesOut, cyclesToLampOut),
		{Kind: StoredGoes, Done: math.Min(float64(p.WarmUps), warmUpsToErase), Need: warmUpsToErase, Known: true, WarmUps: p.WarmUps,
			Met: p.CleanInRow >= cyclesToLampOut && p.WarmUps >= warmUpsToErase},
		// The drive after a clear that takes a permanent misfire code away.
		{Kind: PermanentGoes, Done: math.Min(1, float64(p.CleanTrips)), Need: 1, Known: true, Met: p.CleanTrips > 0,
			Ending: p.Now.Trip && p.Now.Clean(), Missed: p.Now.Missed, Lacks: p.Now.lacks()},
		p.disregardRule(),
	}
}

// cycleRule wants so many driving cycles in a row, each with similar conditions and without misfire.
func (p Progress) cycleRule(kind RuleKind, need int) Rule {
	return Rule{Kind: kind, Done: float64(min(p.CleanInRow, need)), Need: float64(need), Met: p.CleanInRow >= need,
		Known: p.Now.Counted || p.Driving > 0 || p.Starts > 0, Ending: p.Now.Similar && p.Now.Clean()}
}

// lacks is what the present cycle still lacks of a general denominator trip.
func (c Cycle) lacks() TripLacks {
	return TripLacks{Running: max(tripRunning-c.Running, 0), AtSpeed: max(tripAtSpeed-c.AtSpeed, 0), Idle: max(tripIdle-c.Idle, 0)}
}

// disregardRule is California's inspection, which passes over permanent codes long after a clear.
func (p Progress) disregardRule() Rule {
	r := Rule{Kind: Disregarded, Done: p.ClearWarmUps, Need: warmUpsToDisregard, Kilometres: p.ClearKilometres,
		Known: !math.IsNaN(p.ClearWarmUps) && !math.IsNaN(p.ClearKilometres)}
	r.Met = r.Known && p.ClearWarmUps >= warmUpsToDisregard && p.ClearKilometres/KilometresAMile >= MilesToDisregard
	return r
}

// Readiness is how an inspection would take a car's monitors.
type Readiness struct {
	Incomplete []obd.Monitor // supported and not complete, over all modules
	Allowed    int           // how many may be
	Ready      bool
}

// ReadinessOf judges the monitors of all modules since the last clear by US guidance: up to two incomplete for
// model years 1996 to 2000, one later; year 0 is taken as later (EPA420-R-01-015, as quoted on a service page; states
// differ).
func ReadinessOf(modules []obd.Monitors, year int) Readiness {
	r := Readiness{Allowed: 1}
	if year >= 1996 && year <= 2000 {
		r.Allowed = 2
	}
	for _, m := range modules {
		for _, s := range m.States {
			if s.Supported && !s.Complete && !m.ThisCycle {
				r.Incomplete = append(r.Incomplete, s.Monitor)
			}
		}
	}
	r.Ready = len(r.Incomplete) <= r.Allowed
	return r
}
