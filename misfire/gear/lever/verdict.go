package lever

import "math"

// State is what is said of a stretch.
type State uint8

const (
	Unknown State = iota
	Free          // park, neutral or clutch in: no box loads the engine
	InGear        // drive or reverse: the box loads it
)

// Reason is why a stretch is Unknown.
type Reason uint8

const (
	NoReason Reason = iota
	Unsure          // what was seen fits both
	Loaded          // more load than at the start of a car that has not moved: in gear, or an accessory
	Hidden          // the box shows nothing at rest, or lets go by itself
)

// opinion is what the hypotheses together say of one stretch.
type opinion struct {
	free, gear float64 // of boxes that load the engine
	shows      float64 // that the box loads it; the rest says nothing
}

// bank solves all hypotheses over a scene.
type bank struct {
	scene
	all         []hypothesis
	evidence    []float64
	passes      passes
	opinions    []opinion
	loads       float64           // posterior that the box loads the engine
	levers      [maxKinds]float64 // and of each kind to be the lever
	unexplained float64           // steps that neither lever nor accessory explains
}

// leastWeight is the share of a hypothesis that is still worth smoothing.
const leastWeight = 1e-4

// solve goes over all rests for a prior chance that the box loads the engine.
func (b *bank) solve(rests []rest, loads, prior float64) {
	b.lay(rests)
	b.prior = prior
	b.opinions = append(b.opinions[:0], make([]opinion, len(b.nodes))...)
	b.loads, b.levers, b.unexplained = 0, [maxKinds]float64{}, 0
	if len(b.nodes) == 0 {
		return
	}
	b.all = hypotheses(b.all, b.kinds, loads)
	b.evidence = b.evidence[:0]
	best := math.Inf(-1)
	for i := range b.all {
		e := b.passes.run(&b.scene, &b.all[i])
		b.evidence = append(b.evidence, e)
		best = max(best, e)
	}
	sum := 0.0
	for i, e := range b.evidence {
		b.evidence[i] = math.Exp(e - best)
		sum += b.evidence[i]
	}
	for i := range b.all {
		b.smooth(&b.all[i], b.evidence[i]/sum)
	}
}

// smooth adds one hypothesis to what they say together.
func (b *bank) smooth(h *hypothesis, weight float64) {
	if h.loads {
		b.loads += weight
		if h.lever >= 0 {
			b.levers[h.lever] += weight
		}
	}
	if weight < leastWeight {
		return
	}
	b.passes.run(&b.scene, h)
	b.passes.back(&b.scene, h, func(i int, v vector, unexplained float64) {
		b.unexplained += weight * unexplained
		if !h.loads {
			return
		}
		o := &b.opinions[i]
		o.shows += weight
		o.free += weight * (v[0] + v[isOn])
		o.gear += weight * (v[inGear] + v[inGear|isOn])
	})
}

// needed is how likely a state must be to be said: the busier the idle, the more.
func (b *bank) needed() float64 {
	const steps, strange = 2.4, 0.8 // a minute of rest
	minutes := max(b.total/60, 0.5)
	f := max(float64(b.count)/minutes/steps, b.unexplained/minutes/strange)
	switch {
	case f < 0.5:
		return 0.8
	case f <= 1:
		return 0.9
	}
	return 1 - 0.1/(f*f)
}

// letsGo reports whether the box lets go by itself at a stop: the load falls soon after on half the longer stops.
func (b *bank) letsGo() bool {
	const long, soon = 8.0, 4.4 // s
	stops, fell := 0, 0
	for i := range b.rests {
		r := &b.rests[i]
		if r.start == Stop && r.length() >= long {
			stops++
			if r.fallsWithin(soon) {
				fell++
			}
		}
	}
	return stops >= 2 && 2*fell >= stops
}

func (r *rest) fallsWithin(soon float64) bool {
	for i := range r.steps {
		if s := &r.steps[i]; s.sort == stepped && s.load < 0 && s.at-r.from <= soon && s.forced == nobody {
			return true
		}
	}
	return false
}
