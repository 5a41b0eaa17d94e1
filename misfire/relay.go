package misfire

import (
	"slices"
	"sort"
	"time"

	"stumble/misfire/gear"
)

// relay stands between the ledger, which cuts windows, and the accounts, which add them up by gear state. What is judged
// of the gear may change while more is seen of the car. So windows whose gear is not settled are kept and laid to the
// gears as they are judged now, on a copy of the accounts, made anew each time the judgement of the past changes.
// Once it is settled they are booked for good. A car that tells its gear keeps none waiting.
type relay struct {
	judge    judge
	start    *time.Time
	accounts *accounts
	final    func(*window) // takes each window as it is booked for good; nil for nobody

	held  []held // in order of time
	spare [][]share

	spans    []gearSpan
	revision int

	copy   *accounts // the accounts with held[:laid] by the gears of revision; nil when there is none
	laid   int
	window window          // scratch of lay
	sums   [conditions]int // scratch: the place of a condition in window.running, plus one
}

// judge says which gear state held when, and that its word on the past changed: a gear.Judge.
type judge interface {
	Revision() int
	Spans() []gear.Span
}

// held is a window that waits for its gear, or the end of a driving cycle among them.
type held struct {
	window window
	ends   bool
}

// gearSpan is what is judged of the gear from a time on, in seconds.
type gearSpan struct {
	from   float64
	state  gear.State
	origin gear.Origin
	stir   bool
}

const (
	// maxHeld is how many windows wait for their gear: the oldest are booked as they are judged by then. It is an hour
	// and a half of a car that shows misses at once.
	maxHeld = 4096
	// littleStir is the part of a window that moments which belong to no state may be of it without being told apart.
	littleStir = 0.1
)

func newRelay(j judge, b *accounts, start *time.Time) *relay {
	return &relay{judge: j, accounts: b, start: start, revision: -1}
}

// take takes a window of the ledger.
func (r *relay) take(w *window) {
	kept := *w
	kept.running = nil
	if n := len(r.spare); n > 0 {
		kept.running, r.spare = r.spare[n-1][:0], r.spare[:n-1]
	}
	kept.running = append(kept.running, w.running...)
	r.held = append(r.held, held{window: kept})
	if len(r.held) > maxHeld {
		r.bookUpTo(maxHeld / 4)
	}
}

// settle books what ended before a time, in seconds, for good.
func (r *relay) settle(until float64) {
	n := 0
	for n < len(r.held) && (r.held[n].ends || r.held[n].window.to.sec <= until) {
		n++
	}
	r.bookUpTo(n)
}

func (r *relay) bookUpTo(n int) {
	if n == 0 {
		return
	}
	r.refresh()
	for i := range r.held[:n] {
		w := r.enter(&r.held[i], r.accounts)
		r.spare = append(r.spare, r.held[i].window.running)
		if w != nil && r.final != nil {
			r.final(w)
		}
	}
	r.held = slices.Delete(r.held, 0, n)
	r.copy = nil
}

// endCycle ends a driving cycle: what is held belongs to it.
func (r *relay) endCycle() {
	if len(r.held) == 0 {
		r.accounts.endCycle()
		return
	}
	r.held = append(r.held, held{ends: true})
}

// enter enters what was held in accounts, and gives the window as it was laid, nil for none.
func (r *relay) enter(h *held, to *accounts) *window {
	if h.ends {
		to.endCycle()
		return nil
	}
	return r.lay(&h.window, to)
}

// current is the accounts, as the gears are judged now.
func (r *relay) current() *accounts {
	r.refresh()
	if len(r.held) == 0 {
		return r.accounts
	}
	if r.copy == nil {
		r.copy, r.laid = r.accounts.clone(), 0
	}
	for ; r.laid < len(r.held); r.laid++ {
		r.enter(&r.held[r.laid], r.copy)
	}
	return r.copy
}

// refresh takes over what is judged of the gear now.
func (r *relay) refresh() {
	revision := r.judge.Revision()
	if revision == r.revision {
		return
	}
	r.revision, r.copy = revision, nil
	r.spans = r.spans[:0]
	for _, s := range r.judge.Spans() {
		r.spans = append(r.spans, gearSpan{s.From.Sub(*r.start).Seconds(), s.Call.State, s.Call.Origin, s.Stir})
	}
}

// at is the place of the span that holds at a time, -1 before the first.
func (r *relay) at(sec float64) int {
	return sort.Search(len(r.spans), func(i int) bool { return r.spans[i].from > sec }) - 1
}

// lay enters a window in accounts by the gears as they are judged now, and gives it with its running by condition.
func (r *relay) lay(w *window, to *accounts) *window {
	running := r.window.running[:0]
	r.window = *w
	r.window.running = running
	apart := r.stirred(w)
	for i := range w.running {
		r.split(&w.running[i], func(part share, s gearSpan) {
			if s.stir && apart {
				s.state, s.origin = gear.Unknown, gear.None
			}
			to.origins[s.state][s.origin] += part.seconds
			to.turn(s.state)
			part.condition = part.condition.in(s.state)
			r.gather(part)
		})
	}
	for i := range r.window.running {
		r.sums[r.window.running[i].condition] = 0
	}
	to.add(&r.window)
	return &r.window
}

// stirred reports whether so much of a window is moments that belong to no state that they are told apart.
func (r *relay) stirred(w *window) bool {
	stir, all := 0.0, 0.0
	for i := range w.running {
		r.split(&w.running[i], func(part share, s gearSpan) {
			all += part.seconds
			if s.stir {
				stir += part.seconds
			}
		})
	}
	return stir > littleStir*all
}

// split cuts running where the judgement of the gear changes.
func (r *relay) split(s *share, take func(share, gearSpan)) {
	rest := *s
	for i := r.at(s.from); rest.to > rest.from; i++ {
		var in gearSpan
		if i >= 0 {
			in = r.spans[i]
		}
		part := rest
		if i+1 < len(r.spans) && r.spans[i+1].from < rest.to {
			part = rest.head(r.spans[i+1].from)
		}
		rest.from = part.to
		if part.firings > 0 {
			take(part, in)
		}
		if part.to == s.to {
			return
		}
	}
}

// head takes off the running up to a time.
func (s *share) head(to float64) share {
	to = max(to, s.from)
	part, of := *s, (to-s.from)/(s.to-s.from)
	part.to, part.firings, part.seconds, part.work = to, s.firings*of, s.seconds*of, s.work.times(of)
	s.firings, s.seconds, s.work = s.firings-part.firings, s.seconds-part.seconds, s.work.times(1-of)
	return part
}

// gather adds running to that of its condition.
func (r *relay) gather(part share) {
	if at := r.sums[part.condition]; at > 0 {
		r.window.running[at-1].take(&part)
		return
	}
	r.window.running = append(r.window.running, part)
	r.sums[part.condition] = len(r.window.running)
}

// dress gives moments of the strip the gears as they are judged now.
func (r *relay) dress(moments []Moment) {
	r.refresh()
	for i := range moments {
		m := &moments[i]
		if at := r.at(m.At.Sub(*r.start).Seconds() + 0.5); at >= 0 && m.Gear != gear.Moving {
			m.Gear, m.Origin = r.spans[at].state, r.spans[at].origin
		}
	}
}
