package gear

import "time"

const (
	runs       = 400.0 // rpm; a starter turns an engine at 150 to 300 (common practice, no source)
	stands     = 100.0 // rpm; below it the engine stands
	shortPause = 3 * time.Minute
	pausedSays = -1.0 // after a short pause that began in gear: a new start, or the car's own stop-start
)

// engine tells running from standing.
type engine struct {
	known   bool
	running bool
	stopped moment // when it was last seen to cease
	inGear  bool   // whether the box was in gear then
}

// add takes an engine speed in rpm. An engine that already runs at the first reading was not seen to start.
func (e *engine) add(rpm float64, at moment) turn {
	switch {
	case !e.known:
		e.known, e.running = true, rpm >= runs
	case !e.running && rpm >= runs:
		e.running = true
		return started
	case e.running && rpm < stands:
		e.running, e.stopped = false, at
		return ceased
	}
	return same
}

// startSays is what a start at a time tells of the lever, as log-odds of being in gear.
func (e *engine) startSays(at moment) float64 {
	if e.inGear && at.Sub(e.stopped) < shortPause {
		return pausedSays
	}
	return starterSays
}
