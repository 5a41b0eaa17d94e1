package lever

import (
	"math"
	"slices"
)

// How far a step may lie from the mark or prompt it belongs to, in seconds.
const (
	markBefore, markAfter = 2.0, 8.0
	promptAfter           = 6.0
	promptAlone           = 5.0 // after so long the prompt counts without a step
)

// seen reports whether by some time the step of a mark or prompt is found, or never will be.
func (n *named) seen(at float64) bool { return at >= n.at+markAfter+window*Period }

// attach lays marks and prompts to the steps they belong to. A box not known teaches nothing by its step.
func (b *Bank) attach() {
	rests := b.follower.rests
	for i := range rests {
		rests[i].anchors = keepTold(rests[i].anchors)
		for j := range rests[i].steps {
			rests[i].steps[j].forced = nobody
		}
	}
	for i := range b.said {
		n := &b.said[i]
		r := b.restAt(n.at)
		if r == nil || n.ends {
			continue
		}
		if s := n.stepIn(r, b.answers(i)); s != nil && b.box != Other {
			s.forced = n.call
			continue
		}
		at := n.at
		if n.prompt {
			if at += promptAlone; b.showsSteps() {
				continue // there will be one
			}
		}
		if at <= r.to {
			r.anchors = append(r.anchors, anchor{at: at, call: n.call, sure: namedSure})
		}
	}
}

// namedSure is less than the car's own word, which says so.
const namedSure = 0.98

func keepTold(all []anchor) []anchor {
	kept := all[:0]
	for _, a := range all {
		if a.sure > namedSure {
			kept = append(kept, a)
		}
	}
	return kept
}

// toldPark reports whether the car itself told of park between two times.
func (r *rest) toldPark(from, to float64) bool {
	return slices.ContainsFunc(r.anchors, func(a anchor) bool {
		return a.call == saidPark && a.sure > namedSure && a.at >= from && a.at < to
	})
}

func (b *Bank) restAt(at float64) *rest {
	for i := range b.follower.rests {
		if r := &b.follower.rests[i]; at >= r.from-markAfter && (at <= r.to || r.end == Open) {
			return r
		}
	}
	return nil
}

// showsSteps reports whether the lever of this car would be seen: it is told to have a converter, and nothing speaks
// against it.
func (b *Bank) showsSteps() bool {
	return b.box == Converter && (len(b.bank.all) == 0 || b.bank.loads >= 0.5 && !b.bank.letsGo())
}

// answers is how long after a prompt the step that answers it may come: where it would be seen, up to the next prompt.
func (b *Bank) answers(i int) float64 {
	if !b.showsSteps() {
		return promptAfter
	}
	for _, next := range b.said[i+1:] {
		if next.prompt {
			return next.at - b.said[i].at
		}
	}
	return forever
}

// stepIn is the step of a rest that a mark or prompt belongs to; nil when there is none.
func (n *named) stepIn(r *rest, within float64) *step {
	before, after := markBefore, markAfter
	if n.prompt {
		before, after = 0, within
	}
	var best *step
	for i := range r.steps {
		s := &r.steps[i]
		off := s.at - n.at
		if s.sort != stepped || s.load > 0 != (n.call == saidGear) || off < -before || off > after || n.prompt && s.ramp {
			continue
		}
		if best == nil || math.Abs(off) < math.Abs(best.at-n.at) {
			best = s
		}
	}
	return best
}
