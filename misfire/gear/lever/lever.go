package lever

import "math"

// Span is a stretch of rest and what is said of it.
type Span struct {
	From, To float64 // seconds
	State    State
	Reason   Reason  // why it is Unknown
	Sure     float64 // 0 to 1, that State is right
	Told     bool    // it follows a prompt: State is what was asked for
	Stir     bool    // the moments beside a change, a start or a blip: what was missed in them belongs to no state
}

// Same reports whether two spans say the same.
func (s *Span) Same(o *Span) bool {
	return s.State == o.State && s.Reason == o.Reason && s.Told == o.Told
}

// Bank infers the lever of one car. It is for one goroutine.
type Bank struct {
	box      Box
	follower follower
	bank     bank
	said     []named // marks and prompts of the rests that are kept
	told     call    // by the car, now
	named    bool    // somebody ever named a gear
	learnt   float64 // that the box loads the engine, from rests no longer kept; NaN before
	origin   origin
	offsets  []float64 // load above the start's by stretch, for a car that has not moved,
	known    []bool    // and whether it is known
	past     []Span    // final
	spans    []Span
	scratch  []Span
	shifts   []float64
	revision int
	stale    bool
}

// named is a mark or a prompt.
type named struct {
	at     float64
	call   call
	prompt bool
	ends   bool // a prompt for something else than standing in a state
}

// New is a bank for a car of which that much is told of the gearbox.
func New(box Box) *Bank {
	return &Bank{box: box, learnt: math.NaN(), origin: origin{gear: -1}}
}

// SetBox tells of the gearbox later; the past is judged anew.
func (b *Bank) SetBox(box Box) {
	if b.box != box {
		b.box, b.stale = box, true
	}
}

// Add takes the tick that began at a time. Ticks come in order; more than two seconds without one are a hole.
func (b *Bank) Add(at float64, k Tick) {
	b.follower.add(at, k)
	if b.follower.news {
		b.follower.news, b.stale = false, true
		if r := b.follower.open(); r != nil && b.told != nobody && len(r.anchors)+len(r.steps) == 0 {
			b.tell(r, r.from)
		}
		b.trim()
	}
	if n := len(b.said); n > 0 && !b.said[n-1].seen(at-Period) && b.said[n-1].seen(at) {
		b.stale = true // by now its step was found, or never will be
	}
}

// Mark takes that the driver says he put the lever there. A mark belongs to the nearest step of the right sign from 2 s
// before it to 8 s after it.
func (b *Bank) Mark(at float64, inGear bool) { b.name(named{at: at, call: callOf(inGear)}) }

// Prompt takes that the driver was asked to put the lever there.
func (b *Bank) Prompt(at float64, inGear bool) {
	b.name(named{at: at, call: callOf(inGear), prompt: true})
}

// EndPrompt takes that what was last asked for holds no longer.
func (b *Bank) EndPrompt(at float64) { b.name(named{at: at, prompt: true, ends: true}) }

func (b *Bank) name(n named) {
	b.said = append(b.said, n)
	b.named = b.named || n.call == saidGear
	b.stale = true
}

// Know takes what the car itself says of the lever, until Unknow.
func (b *Bank) Know(at float64, inGear bool) {
	b.told = callOf(inGear)
	b.named = b.named || inGear
	if r := b.follower.open(); r != nil {
		b.tell(r, at)
	}
}

// Unknow takes that the car says nothing any more.
func (b *Bank) Unknow() { b.told = nobody }

func (b *Bank) tell(r *rest, at float64) {
	r.anchors = append(r.anchors, anchor{at: at, call: b.told, sure: toldSure})
	b.stale = true
}

// toldSure is how far the car's own word is believed.
const toldSure = 0.999

// Revision counts the changes of what is said of the past.
func (b *Bank) Revision() int {
	b.refresh()
	return b.revision
}

// Settled is the time before which nothing changes any more: +Inf while no rest is kept.
func (b *Bank) Settled() float64 {
	if len(b.follower.rests) == 0 {
		return math.Inf(1)
	}
	return b.follower.rests[0].from
}

// Spans are the rests that are kept, in order of time, cut where what is said changes. The last of a rest that goes on
// ends in the far future. They are good until the next call.
func (b *Bank) Spans() []Span {
	b.refresh()
	return b.spans
}

// Past are the spans before those, which are final, as far back as they are kept.
func (b *Bank) Past() []Span {
	b.refresh()
	return b.past
}

// Resting reports whether the car stands with the engine running, as far as the ticks tell.
func (b *Bank) Resting() bool { return b.follower.open() != nil }

// Wavers reports whether a step is in sight, not judged yet, that may be the lever.
func (b *Bank) Wavers() bool { return b.follower.finder.on && b.box != Manual }

func (b *Bank) refresh() {
	if !b.stale {
		return
	}
	b.stale = false
	b.revision++
	b.attach()
	b.bank.solve(b.follower.rests, b.prior(), b.origin.gear)
	b.lay()
}

func (b *Bank) prior() float64 {
	if math.IsNaN(b.learnt) {
		return b.box.loads()
	}
	return min(max(b.learnt, 0.0005), 0.97)
}
