package say

import (
	"math"
	"time"

	"stumble/misfire/proof"
)

// Rule is one thing that the car does by itself, as pages tell it.
type Rule struct {
	Happens string // what happens, a phrase
	Unit    string // what Done and Need of the rule count
	Text    string // what is still needed, or what was once it is met, a phrase
	Source  string // where the rule is from
}

// Rule puts a rule into words.
func (w Words) Rule(r proof.Rule) Rule {
	switch r.Kind {
	case proof.PendingGoes:
		return Rule{w.tell("rule-pending"), w.tell("unit-cycles"), w.cycles(r), w.tell("source-pending")}
	case proof.LampGoesOut:
		return Rule{w.tell("rule-lamp"), w.tell("unit-cycles"), w.cycles(r), w.tell("source-lamp")}
	case proof.StoredGoes:
		text := w.tell("erase-text", whole(r.Need), r.WarmUps, whole(proof.WarmUpRise), whole(proof.WarmUpPetrol), whole(proof.WarmUpDiesel))
		return Rule{w.tell("rule-stored"), w.tell("unit-warm-ups"), text, w.tell("source-stored")}
	case proof.PermanentGoes:
		return Rule{w.tell("rule-permanent"), w.tell("unit-trips"), w.trip(r), w.tell("source-permanent")}
	}
	return Rule{w.tell("rule-disregard"), w.tell("unit-since-clear"), w.disregard(r), w.tell("source-disregard")}
}

// cycles says of a rule of driving cycles in a row what is left of it.
func (w Words) cycles(r proof.Rule) string {
	left := r.Need - r.Done
	switch {
	case r.Met:
		return w.count("cycles-done", r.Need)
	case left == 1 && r.Ending:
		return w.tell("cycles-ending")
	}
	return w.count("cycles-left", left)
}

func (w Words) trip(r proof.Rule) string {
	switch {
	case r.Met:
		return w.tell("trip-done")
	case r.Ending:
		return w.tell("trip-ending")
	case r.Missed:
		return w.tell("trip-missed")
	}
	return w.tell("trip-left", w.lacks(r.Lacks))
}

// lacks is what a drive still lacks.
func (w Words) lacks(l proof.TripLacks) string {
	var parts []string
	add := func(d time.Duration, said func(string) string) {
		if d > 0 {
			parts = append(parts, said(whole(math.Ceil(d.Seconds()))))
		}
	}
	add(l.Running, func(s string) string { return w.tell("lacks-running", s) })
	add(l.AtSpeed, func(s string) string { return w.tell("lacks-speed", s) })
	add(l.Idle, func(s string) string { return w.tell("lacks-idle", s) })
	if len(parts) == 0 {
		return w.tell("lacks-count")
	}
	return w.Commas(parts)
}

func (w Words) disregard(r proof.Rule) string {
	if !r.Known {
		return w.tell("disregard-unknown")
	}
	return w.tell("disregard-text", whole(r.Need), whole(proof.MilesToDisregard), whole(proof.MilesToDisregard*proof.KilometresAMile),
		whole(r.Done), whole(r.Kilometres))
}

// Readiness says how an inspection would take a car's monitors, a phrase.
func (w Words) Readiness(r *proof.Readiness) string {
	names := make([]string, len(r.Incomplete))
	for i, m := range r.Incomplete {
		names[i] = m.String()
	}
	switch {
	case len(names) == 0:
		return w.tell("ready-all")
	case r.Ready:
		return w.tell("ready-enough", w.Commas(names), r.Allowed)
	}
	return w.tell("ready-not", w.Commas(names), r.Allowed)
}
