package gear

import "math"

// A step is looked for between a stretch before it, a stretch in which it happens and a stretch after it, all
// idle with the foot off the pedal. In ticks, newest first.
const (
	afterTo    = 4 // bins 0 to 4: one second after
	duringTo   = 9 // bins 5 to 9: one second in which the box takes up, or lets go
	beforeTo   = 17
	stepWindow = beforeTo + 1
)

// Sizes of a step worth judging. Engaging a converter automatic costs the engine some 8 to 20 Nm at idle: four
// load points and more, a dip of some tens of rpm for a second (common practice, no source).
const (
	minLoadStep = 2.5  // points of calculated load
	maxLoadStep = 40.0 // more is no lever
	minRPMSwing = 20.0 // rpm
	noiseFactor = 3.0  // a step or swing must also exceed so many spreads of the idle before it
	maxDrift    = 35.0 // rpm the idle before may wander and still be called steady
)

// step is a lasting change of load at idle, with what the engine's speed did meanwhile.
type step struct {
	at     moment  // when it began
	load   float64 // points of load gained, negative when lost
	swing  float64 // rpm: how far speed dipped (load gained) or flared (load lost) against before
	rebate float64 // rpm recovered from the far end of the swing
	settle float64 // rpm by which the new idle differs from the old
	joint  bool    // load and swing agree, beyond the noise
}

// measure compares the newest second with the one before the last two. ok is false when the idle was not
// quiet, not steady before, or did not step.
func measure(t *trace) (s step, ok bool) {
	if !t.quietFor(stepWindow) {
		return step{}, false
	}
	loadAfter, rpmAfter := t.levels(0, afterTo)
	loadBefore, rpmBefore := t.levels(duringTo+1, beforeTo)
	s.load = loadAfter.middle - loadBefore.middle
	size := math.Abs(s.load)
	if size < max(minLoadStep, noiseFactor*loadBefore.spread) || size > maxLoadStep || !steadyBefore(t, rpmBefore.spread) {
		return step{}, false
	}
	low, high := t.extremes(duringTo + 3)
	s.settle = rpmAfter.middle - rpmBefore.middle
	if s.load > 0 {
		s.swing, s.rebate = rpmBefore.middle-low, rpmAfter.middle-low
	} else {
		s.swing, s.rebate = high-rpmBefore.middle, high-rpmAfter.middle
	}
	s.joint = s.swing >= max(minRPMSwing, noiseFactor*rpmBefore.spread)
	s.at = began(t, loadBefore.middle, s.load)
	return s, true
}

// steadyBefore keeps a falling or settling idle, as after a blip of the throttle, from looking like a lever.
func steadyBefore(t *trace, spread float64) bool {
	const half = (duringTo + 1 + beforeTo) / 2
	_, newer := t.levels(duringTo+1, half)
	_, older := t.levels(half+1, beforeTo)
	return math.Abs(newer.middle-older.middle) <= max(maxDrift, 2*spread)
}

// began is the start of the last bin, going back from the middle of the step, in which load had moved less
// than a quarter of the way.
func began(t *trace, before, change float64) moment {
	for i := afterTo; i <= beforeTo; i++ {
		if (t.back(i).load-before)/change < 0.25 {
			return t.back(i).start.Add(tick)
		}
	}
	return t.back(beforeTo).start
}

// watcher finds each step once, at the moment it is clearest.
type watcher struct {
	best    step
	pending int // ticks since a step was first seen; 0 when none is
	rest    int // ticks to look away, so that one step is not found twice
}

// patience is how long a step may keep growing before it is judged, in ticks.
const patience = 5

// look takes the trace after each tick and returns a step when one is complete. What has gone again by then,
// as a cough of the engine, was none.
func (w *watcher) look(t *trace) (step, bool) {
	if w.rest > 0 {
		w.rest--
		return step{}, false
	}
	s, ok := measure(t)
	if !ok && w.pending == 0 {
		return step{}, false
	}
	if w.pending == 0 || math.Abs(s.load) > math.Abs(w.best.load) {
		s.joint = s.joint || w.best.joint
		w.best = s
	}
	if w.pending++; w.pending <= patience {
		return step{}, false
	}
	found := w.best
	lasts := ok && s.load/found.load > 0.6
	*w = watcher{rest: duringTo - afterTo}
	return found, lasts
}
