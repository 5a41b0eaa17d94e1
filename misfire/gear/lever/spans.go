package lever

import "math"

const (
	loadedBy   = 1.6  // points above the start's level
	beforeMove = 30.0 // s before it first moved off in which a box that shows nothing may be in gear
)

// lay makes spans of what the bank says.
func (b *Bank) lay() {
	b.spans = b.spans[:0]
	needed, letsGo := b.bank.needed(), b.bank.letsGo()
	unmoved := !b.follower.everMoved && !b.named
	b.offsets, b.known = b.offsets[:0], b.known[:0]
	offset, known := b.origin.offset, b.origin.known
	for i := range b.bank.nodes {
		n := &b.bank.nodes[i]
		r := &b.bank.rests[n.rest]
		from, to := r.stretch(n.part)
		if n.part == len(r.steps) {
			to = r.ends()
		}
		s := Span{From: from, To: to}
		switch {
		case n.part > 0:
			offset, known = shifted(offset, known, &r.steps[n.part-1])
		case i > 0 || b.origin.gear < 0:
			offset, known = 0, r.start == FirstStart || r.start == Restart && !b.follower.everMoved
		}
		if r.toldPark(from, to) {
			offset, known = 0, true
		}
		b.offsets, b.known = append(b.offsets, offset), append(b.known, known)
		if unmoved {
			s.judgeUnmoved(offset, known)
			b.append(s)
			continue
		}
		s.judge(&b.bank.opinions[i], needed)
		if s.State == Free && letsGo && n.part > 0 && r.start == Stop && b.box != Manual {
			s.State, s.Reason = Unknown, Hidden
		}
		if s.State == Unknown {
			b.appendFree(s, r, &b.bank.opinions[i], needed)
			continue
		}
		b.append(s)
	}
	b.race()
	b.overlay()
	b.stir()
}

// race says of an engine that races at rest that it is in park.
func (b *Bank) race() {
	for i := range b.follower.rests {
		for j := range b.follower.rests[i].steps {
			if s := &b.follower.rests[i].steps[j]; s.raced {
				b.cover(Span{From: s.at, To: s.until, State: Free, Sure: 0.95})
			}
		}
	}
}

// shifted is the load above the start's, and whether it is known, after a boundary.
func shifted(offset float64, known bool, s *step) (float64, bool) {
	if math.IsNaN(s.load) {
		return 0, false
	}
	offset += s.load
	if math.Abs(offset) < 1 {
		offset = 0 // sums of steps wander, levels do not
	}
	return offset, known
}

// judgeUnmoved is the rule for a car that has not moved off and of which nobody named a gear.
func (s *Span) judgeUnmoved(offset float64, known bool) {
	switch {
	case !known:
		s.Reason = Unsure
	case offset > loadedBy:
		s.Reason = Loaded
	default:
		s.State, s.Sure = Free, 0.95
	}
}

// judge is what is said of a stretch once it is likely enough.
func (s *Span) judge(o *opinion, needed float64) {
	switch {
	case o.gear >= needed:
		s.State, s.Sure = InGear, o.gear
	case o.free >= needed:
		s.State, s.Sure = Free, o.free
	default:
		s.Reason = Unsure
	}
}

// appendFree says of a box that may show nothing what holds all the same: it is started in park, is where the car
// itself says, and is free for good when it is told to be a manual one.
func (b *Bank) appendFree(s Span, r *rest, o *opinion, needed float64) {
	free := o.free + 1 - o.shows
	switch {
	case free < needed || s.Reason == Hidden:
	case b.box == Manual || r.toldPark(s.From, s.To):
		s.State, s.Reason, s.Sure = Free, NoReason, free
	case r.start == FirstStart:
		early := s
		early.State, early.Reason, early.Sure = Free, NoReason, free
		if r.end == MovedOff {
			early.To = min(s.To, max(s.From, r.to-beforeMove))
		}
		if early.To > early.From {
			b.append(early)
		}
		if s.From = early.To; s.From >= s.To {
			return
		}
		s.Reason = Hidden
	case o.shows < 0.5:
		s.Reason = Hidden
	}
	b.append(s)
}

func (b *Bank) append(s Span) {
	n := len(b.spans)
	if n > 0 && b.spans[n-1].To == s.From && b.spans[n-1].Same(&s) {
		b.spans[n-1].To = s.To
		b.spans[n-1].Sure = min(b.spans[n-1].Sure, s.Sure)
		return
	}
	b.spans = append(b.spans, s)
}

// overlay lays what was asked for over what was inferred: from the step that answered a prompt, or a while after it, to
// the next prompt.
func (b *Bank) overlay() {
	for i := range b.said {
		n := &b.said[i]
		if !n.prompt || n.ends {
			continue
		}
		r := b.restAt(n.at)
		if r == nil {
			continue
		}
		to := r.ends()
		for _, next := range b.said[i+1:] {
			if next.prompt {
				to = min(to, next.at)
				break
			}
		}
		from := n.at + promptAlone
		if s := n.stepIn(r, b.answers(i)); s != nil {
			from = s.at
		} else if b.showsSteps() && !b.already(n) {
			b.cover(Span{From: n.at, To: to, Reason: Unsure})
			continue
		}
		b.cover(Span{From: n.at, To: min(from, to), Reason: Unsure})
		state := Free
		if n.call == saidGear {
			state = InGear
		}
		b.cover(Span{From: from, To: to, State: state, Sure: 0.95, Told: true})
	}
}

// already reports whether the lever is inferred to have been where it was asked for.
func (b *Bank) already(n *named) bool {
	for i := range b.spans {
		if s := &b.spans[i]; s.From <= n.at && n.at < s.To {
			return s.State == Free && n.call == saidPark || s.State == InGear && n.call == saidGear
		}
	}
	return false
}

// cover lays one span over the others.
func (b *Bank) cover(s Span) {
	if s.From >= s.To {
		return
	}
	laid := b.scratch[:0]
	for _, o := range b.spans {
		if o.To <= s.From || o.From >= s.To {
			laid = append(laid, o)
			continue
		}
		if head := o; head.From < s.From {
			head.To = s.From
			laid = append(laid, head)
		}
		if o.From <= s.From || len(laid) == 0 || laid[len(laid)-1] != s {
			laid = append(laid, s)
		}
		if tail := o; tail.To > s.To {
			tail.From = s.To
			laid = append(laid, tail)
		}
	}
	b.spans, b.scratch = laid, b.spans
}
