package proof

import (
	"fmt"
	"math"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/obd"
)

// warmAt parts cold from warm running, as the tally has it.
const warmAt = float64(misfire.WarmAt)

// Rule is one thing that the car does by itself after a repair, and how far it has come. These are typical
// rules, not the law for one car.
type Rule struct {
	Name       string  // what happens: "the lamp goes out"
	Done, Need float64 // counted in Unit
	Unit       string
	Known      bool   // false when the car does not tell enough
	Met        bool   // nothing more is needed
	Text       string // what is still needed, in words; what was, once met
	Source     string // where the rule is from
}

// Counts of the rules.
const (
	cyclesToPendingGone = 1
	cyclesToLampOut     = 3
	warmUpsToErase      = 40
	warmUpsToDisregard  = 15
	milesToDisregard    = 200
	kilometresAMile     = 1.609344
)

// Rules is what the car does by itself and what it still needs.
func (p Progress) Rules() []Rule {
	return []Rule{
		p.cycleRule("the pending code goes", cyclesToPendingGone, "13 CCR 1968.2 (e)(3.4), from memory and service pages"),
		p.cycleRule("the lamp goes out", cyclesToLampOut, "13 CCR 1968.2 (d)(2.3), (e)(3.4.5), from memory and service pages; some makers count to four"),
		p.eraseRule(),
		p.permanentRule(),
		p.disregardRule(),
	}
}

// cycleRule wants so many driving cycles in a row, each with similar conditions and without misfire.
func (p Progress) cycleRule(name string, need int, source string) Rule {
	r := Rule{Name: name, Done: float64(min(p.CleanInRow, need)), Need: float64(need), Source: source,
		Unit: "driving cycles in a row, in similar conditions, without misfire", Known: p.Now.Counted || p.Driving > 0 || p.Starts > 0}
	r.Met = p.CleanInRow >= need
	left := need - p.CleanInRow
	switch {
	case r.Met:
		r.Text = fmt.Sprintf("%s without misfire in similar conditions: done", plural(r.Need, "driving cycle", "driving cycles"))
	case left == 1 && p.Now.Similar && p.Now.Clean():
		r.Text = "shut the engine off: this driving cycle is the last one needed"
	default:
		r.Text = fmt.Sprintf("%s more in similar conditions without misfire, each from engine start to shut-off", plural(float64(left), "driving cycle", "driving cycles"))
	}
	return r
}

func (p Progress) eraseRule() Rule {
	r := Rule{Name: "the stored code goes", Done: math.Min(float64(p.WarmUps), warmUpsToErase), Need: warmUpsToErase,
		Unit: "warm-up cycles once the lamp is out", Known: true, Met: p.CleanInRow >= cyclesToLampOut && p.WarmUps >= warmUpsToErase,
		Source: "13 CCR 1968.2 (d)(2.4), from memory and service pages; some older pages say 80"}
	r.Text = fmt.Sprintf("%d warm-up cycles without misfire after the lamp went out; seen here: %d, each a rise of %.0f K to %.0f degC or more (diesel %.0f)",
		warmUpsToErase, p.WarmUps, warmUpRise, warmUpPetrol, warmUpDiesel)
	return r
}

// permanentRule is the drive after a clear that takes a permanent misfire code away.
func (p Progress) permanentRule() Rule {
	r := Rule{Name: "the permanent code goes", Done: math.Min(1, float64(p.CleanTrips)), Need: 1, Unit: "drives without misfire", Known: true,
		Met:    p.CleanTrips > 0,
		Source: "13 CCR 1968.2 (d)(2.5.2)(B), read; the drive (d)(4.3.2), from memory and service pages"}
	switch {
	case r.Met:
		r.Text = "a drive of ten minutes, five of them at 40 km/h or more, half a minute of idle, no misfire: done"
	case p.Now.Trip && p.Now.Clean():
		r.Text = "shut the engine off: this drive was long enough"
	case p.Now.Missed:
		r.Text = "a drive without misfire: this one missed"
	default:
		r.Text = "in one drive without misfire, still: " + p.Now.lacks() + "; not too high, not too cold"
	}
	return r
}

// lacks is what the present cycle still lacks of a general denominator trip.
func (c Cycle) lacks() string {
	var parts []string
	tell := func(done, need time.Duration, what string) {
		if left := need - done; left > 0 {
			parts = append(parts, fmt.Sprintf("%.0f s %s", math.Ceil(left.Seconds()), what))
		}
	}
	tell(c.Running, tripRunning, "running")
	tell(c.AtSpeed, tripAtSpeed, "at 40 km/h or more")
	tell(c.Idle, tripIdle, "unbroken idle at rest")
	if len(parts) == 0 {
		return "a misfire count to watch"
	}
	return strings.Join(parts, ", ")
}

// disregardRule is California's inspection, which passes over permanent codes long after a clear.
func (p Progress) disregardRule() Rule {
	miles := p.ClearKilometres / kilometresAMile
	r := Rule{Name: "California's inspection passes over a permanent code", Done: p.ClearWarmUps, Need: warmUpsToDisregard,
		Unit: "warm-ups since clear, and 200 miles", Known: !math.IsNaN(p.ClearWarmUps) && !math.IsNaN(miles),
		Source: "station page on 16 CCR 3340.42.2"}
	r.Met = r.Known && p.ClearWarmUps >= warmUpsToDisregard && miles >= milesToDisregard
	if !r.Known {
		r.Text = "the car does not tell its warm-ups and distance since clear"
		return r
	}
	r.Text = fmt.Sprintf("%d warm-ups and %d miles (%.0f km) since clear; so far %.0f and %.0f km", warmUpsToDisregard, milesToDisregard,
		milesToDisregard*kilometresAMile, p.ClearWarmUps, p.ClearKilometres)
	return r
}

// Readiness is how an inspection would take a car's monitors.
type Readiness struct {
	Incomplete []obd.Monitor // supported and not complete, over all modules
	Allowed    int           // how many may be
	Ready      bool
	Text       string
	Source     string
}

// ReadinessOf judges the monitors of all modules since the last clear by US guidance: up to two incomplete for
// model years 1996 to 2000, one later; year 0 is taken as later.
func ReadinessOf(modules []obd.Monitors, year int) Readiness {
	r := Readiness{Allowed: 1, Source: "EPA420-R-01-015, as quoted on a service page; states differ"}
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
	names := make([]string, len(r.Incomplete))
	for i, m := range r.Incomplete {
		names[i] = m.String()
	}
	switch {
	case len(names) == 0:
		r.Text = "all monitors complete; that the misfire monitor is says nothing of a repair: many cars show it from the first moment"
	case r.Ready:
		r.Text = fmt.Sprintf("ready for inspection: %s incomplete, %d allowed", strings.Join(names, ", "), r.Allowed)
	default:
		r.Text = fmt.Sprintf("not ready for inspection: %s incomplete, %d allowed", strings.Join(names, ", "), r.Allowed)
	}
	return r
}
