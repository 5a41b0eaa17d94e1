package lever

// Moments beside a change in which a miss belongs to no state, in seconds.
const (
	stirBefore  = 1.6 // before the lever's step
	stirAfter   = 1.0 // and after
	stirStart   = 5.0 // after the first start: flare, which falls by a factor of e in 3 s
	stirRestart = 2.0
	stirEdge    = 1.5 // beside moving: speed is whole km/h, and lost under 2
	stirBlip    = 1.0 // after the pedal is let go
	longBlip    = 5.0 // a pedal pressed for longer is no blip
)

// stir marks those moments in the spans.
func (b *Bank) stir() {
	for i := range b.follower.rests {
		r := &b.follower.rests[i]
		switch r.start {
		case FirstStart:
			b.stirred(r.from, r.from+stirStart)
		case Restart:
			b.stirred(r.from, r.from+stirRestart)
		case Stop:
			b.stirred(r.from, r.from+stirEdge)
		}
		for j := range r.steps {
			s := &r.steps[j]
			switch {
			case s.sort == stepped:
			case s.until-s.at > longBlip: // held at a higher speed: only its ends
				b.stirred(s.at, s.at+stirBlip)
				b.stirred(s.until, s.until+stirBlip)
			default:
				b.stirred(s.at, s.until+stirBlip)
			}
		}
		if r.end == MovedOff {
			b.stirred(r.to-stirEdge, r.to)
		}
	}
	shifts := b.shifts[:0]
	for i := 1; i < len(b.spans); i++ {
		before, after := &b.spans[i-1], &b.spans[i]
		if before.To == after.From && before.State != after.State && before.State != Unknown && after.State != Unknown {
			shifts = append(shifts, after.From)
		}
	}
	b.shifts = shifts
	for _, at := range shifts {
		b.stirred(at-stirBefore, at+stirAfter)
	}
}

// stirred marks the spans between two times.
func (b *Bank) stirred(from, to float64) {
	laid := b.scratch[:0]
	for _, s := range b.spans {
		if s.Stir || s.To <= from || s.From >= to {
			laid = append(laid, s)
			continue
		}
		if s.From < from {
			head := s
			head.To, s.From = from, from
			laid = append(laid, head)
		}
		tail := s
		s.Stir = true
		s.To = min(s.To, to)
		laid = append(laid, s)
		if tail.From = to; tail.From < tail.To {
			laid = append(laid, tail)
		}
	}
	b.spans, b.scratch = laid, b.spans
}
