package job

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/misfire/proof"
)

// Wanted returns the steps of a load test that run what the comparison still wants, each once and as long as it takes, the
// longest first; none where nothing is wanted. Nobody stays in a condition all the time, so each gets a quarter more, and
// half a minute at the least.
func (c *Comparison) Wanted() ([]guide.Step, error) {
	wanted := make(map[string]time.Duration)
	for cond, minutes := range c.lacking() {
		wanted[stepOf(&cond)] += time.Duration(1.25 * minutes * float64(time.Minute))
	}
	var keys []string
	for key, length := range wanted {
		wanted[key] = min(max(roundUp(length, 10*time.Second), 30*time.Second), time.Hour)
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(x, y string) int { return cmp.Or(cmp.Compare(wanted[y], wanted[x]), cmp.Compare(x, y)) })
	var plan []guide.Step
	for _, key := range keys {
		step, err := guide.Parse(fmt.Sprintf("%s:%s", key, wanted[key]))
		if err != nil {
			return nil, err
		}
		plan = append(plan, step...)
	}
	return plan, nil
}

// place is where something is wanted.
type place struct {
	gear gear.State
	at   proof.Point
}

// lacking is the minutes that conditions lack, each once, however many cylinders failed in it.
func (c *Comparison) lacking() map[place]float64 {
	minutes := make(map[place]float64)
	for i := range c.Result.Cylinders {
		for _, cond := range c.Result.Cylinders[i].Open() {
			p := place{cond.Where.Gear, cond.At}
			minutes[p] = max(minutes[p], cond.Minutes)
		}
	}
	return minutes
}

// roundUp is a length in whole units.
func roundUp(d, unit time.Duration) time.Duration {
	return time.Duration(math.Ceil(float64(d)/float64(unit))) * unit
}

// Above these a condition is run by another step than at idle, or in steady cruise.
const (
	raisedFrom = 1500 // rpm
	pullFrom   = 50   // percent of load
)

// stepOf is the step that runs in a wanted condition. A freeze frame that does not tell the gear is told by its speed.
func stepOf(n *place) string {
	switch {
	case n.gear == gear.Reverse:
		return "reverse"
	case n.gear.Loaded():
		return "drive"
	case n.gear == gear.ParkNeutral && n.at.RPM < raisedFrom:
		return "park"
	case n.gear == gear.ParkNeutral:
		return "raised"
	case n.at.Load >= pullFrom:
		return "pull"
	}
	return "cruise"
}
