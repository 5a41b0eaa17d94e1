package lever

import "slices"

// What is kept: beyond it the oldest rests are final. A busy idle fills it in an hour or two.
const (
	maxSteps = 200
	maxRests = 64
	maxPast  = 512 // final spans that can still be asked for
)

// origin is what is known of where the first kept rest begins, when it is not where the drive began.
type origin struct {
	gear   float64 // chance of being in gear; -1 where the drive began
	offset float64 // load above the start's, where the first rest was cut
	known  bool
}

// trim lets go of the oldest rests, or of the oldest part of one that never ends, once too much is kept. What they
// taught of the box stays.
func (b *Bank) trim() {
	f := &b.follower
	steps := 0
	for i := range f.rests {
		steps += len(f.rests[i].steps)
	}
	if steps <= maxSteps && len(f.rests) <= maxRests {
		return
	}
	b.stale = true
	b.refresh() // a last time with all
	b.learnt = b.bank.loads
	drop, nodes := 0, 0
	for ; drop < len(f.rests)-1 && (steps > maxSteps*3/4 || len(f.rests)-drop > maxRests*3/4); drop++ {
		steps -= len(f.rests[drop].steps)
		nodes += len(f.rests[drop].steps) + 1
	}
	from := origin{gear: 0.5}
	if drop > 0 {
		from.gear = b.bank.opinions[nodes-1].chance()
	}
	f.rests = slices.Delete(f.rests, 0, drop)
	if first := &f.rests[0]; steps > maxSteps*3/4 {
		gone := len(first.steps) - maxSteps/2
		from = origin{b.bank.opinions[nodes+gone].chance(), b.offsets[nodes+gone], b.known[nodes+gone]}
		last := first.steps[gone-1]
		first.steps = slices.Delete(first.steps, 0, gone)
		first.from, first.first, first.start = last.at, last.after, Joined
	}
	b.origin = from
	b.forget(f.rests[0].from)
	b.stale = true
}

// chance is that of being in gear, of a box that loads the engine.
func (o opinion) chance() float64 {
	if o.shows == 0 {
		return 0.5
	}
	return o.gear / o.shows
}

// forget drops marks and prompts of before a time, and keeps the spans of then as they are.
func (b *Bank) forget(before float64) {
	b.said = slices.DeleteFunc(b.said, func(n named) bool { return n.at+markAfter < before })
	for _, s := range b.spans {
		if s.From < before {
			s.To = min(s.To, before)
			b.past = append(b.past, s)
		}
	}
	if len(b.past) > maxPast {
		b.past = slices.Delete(b.past, 0, maxPast/4)
	}
}
