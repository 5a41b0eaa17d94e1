package misfire

import (
	"math"

	"stumble/misfire/engine"
)

// slice is running of one condition: steps put together.
type slice struct {
	condition conditionIndex
	from, to  place
	work      work
	monitored bool
	known     bool
}

// work is engine speed and load, each summed over revolutions: what their means are made of.
type work struct{ rpm, load float64 }

func (w work) plus(o work) work        { return work{w.rpm + o.rpm, w.load + o.load} }
func (w work) times(part float64) work { return work{w.rpm * part, w.load * part} }

// window is running between two refreshes with the misses that the second one showed.
type window struct {
	from, to place
	running  []share // by condition; of monitored running only
	broken   bool    // a hole lies in it: how long it ran is not known
	misses   [engine.MaxCylinders]int
	valid    [engine.MaxCylinders]bool // the counter was followed all through the window
	full     [engine.MaxCylinders]bool // the counter reached its end in it
}

// share is the running of one condition within a window.
type share struct {
	condition conditionIndex
	firings   float64 // of one cylinder
	seconds   float64
	work      work
}

// ledger cuts the drive into windows. Running and rises are entered in order of time; windows come out once
// the refresh that ends them is known and every counter was read beyond it. Until the cadence of the car is
// found everything is held, so that the first minutes are cut as truly as the rest.
type ledger struct {
	lanes *[engine.MaxCylinders]lane
	sink  func(*window)

	slices     []slice
	rises      []rise // entered, not yet laid to a refresh
	start, now place  // end of the last window; end of the last step
	holding    bool

	mode     candidate // how the car refreshes; period 0 is at once
	known    bool      // mode was found, not assumed
	anchored bool      // next is where a refresh is due
	next     float64   // on the mode's axis
	pending  bool      // misses are booked that the refresh at next showed

	window  window
	firings [conditions]float64 // scratch of closeAt
	seconds [conditions]float64
	work    [conditions]work
}

// assumed is the cadence taken until the car's own is known: the longest that is usual. A miss is then placed
// no later than it was shown and no more than a period before.
var assumed = candidate{kind: RefreshRevolutions, period: 1000}

const (
	// nearRefresh is how far from where it is due, as a part of the period, a refresh is still taken for the
	// one that was due.
	nearRefresh = 0.15
	// shortWindow is the running of a window, in revolutions, when counters move at once. Finer would gain
	// nothing over the time that reading all cylinders takes.
	shortWindow = 20
	// lateBaseline is how much of a window, in part or in seconds, a counter may have missed and still count
	// for all of it: the first round of readings takes about so long.
	lateBaseline, lateSeconds = 0.05, 1.5
	// The most that is held before the cadence is known.
	mostSlices, mostRevolutions = 4096, 30000
)

func newLedger(lanes *[engine.MaxCylinders]lane, sink func(*window)) *ledger {
	return &ledger{lanes: lanes, sink: sink, mode: assumed, holding: true,
		slices: make([]slice, 0, 256), rises: make([]rise, 0, 64)}
}

// run enters one step in its condition.
func (l *ledger) run(s *step, c conditionIndex) {
	to := place{l.now.rev + s.revs, s.to}
	w := s.work()
	if n := len(l.slices); n > 0 {
		last := &l.slices[n-1]
		if last.condition == c && last.monitored == s.monitored && last.known == s.known && s.from-last.to.sec < 1e-6 {
			last.to, l.now = to, to
			last.work = last.work.plus(w)
			return
		}
	}
	from := place{l.now.rev, s.from}
	if len(l.slices) == 0 {
		l.start = from
	}
	l.slices = append(l.slices, slice{condition: c, from: from, to: to, work: w, monitored: s.monitored, known: s.known})
	l.now = to
}

// rise enters misses that a counter showed.
func (l *ledger) rise(r rise) { l.rises = append(l.rises, r) }

// adopt takes a newly found cadence from here on; what is held is cut by it too.
func (l *ledger) adopt(mode candidate) {
	if l.known && l.mode == mode {
		return
	}
	l.closePending()
	l.mode, l.known, l.anchored, l.holding = mode, true, false, false
}

// tooMuch reports that holding on for the cadence is no longer worth it.
func (l *ledger) tooMuch() bool {
	return len(l.slices) >= mostSlices || l.now.rev-l.start.rev >= mostRevolutions
}

// provisional cuts a copy of what is held by a cadence not yet sure, and hands the windows to sink.
func (l *ledger) provisional(mode candidate, sink func(*window)) {
	c := &ledger{lanes: l.lanes, sink: sink, mode: mode, known: true, start: l.start, now: l.now,
		slices: append([]slice(nil), l.slices...), rises: append([]rise(nil), l.rises...)}
	if mode == assumed {
		c.known = false
	}
	c.settle()
}

// settle hands out every window that is complete.
func (l *ledger) settle() {
	if l.holding {
		return
	}
	l.settleTo(l.readBeyond(), nearRefresh*l.mode.period)
}

// finish closes what can be closed when no more readings will come. The running after the last refresh has
// not been shown and is left out.
func (l *ledger) finish() {
	l.holding = false
	l.settleTo(l.now, 0)
}

// breakOff finishes and starts afresh: a driving cycle ended.
func (l *ledger) breakOff() {
	l.finish()
	l.slices, l.rises = l.slices[:0], l.rises[:0]
	l.start, l.anchored = l.now, false
	l.holding = !l.known
}

// readBeyond is the place up to which every counter has been read.
func (l *ledger) readBeyond() place {
	read, any := place{}, false
	for i := range l.lanes {
		if lane := &l.lanes[i]; lane.reported && lane.based {
			if !any || lane.read.sec < read.sec {
				read, any = lane.read, true
			}
		}
	}
	if !any {
		return l.start
	}
	return read
}

func (l *ledger) settleTo(read place, slack float64) {
	for len(l.rises) > 0 && l.rises[0].hi.sec <= read.sec {
		l.lay(l.rises[0])
		l.rises = append(l.rises[:0], l.rises[1:]...)
	}
	at := l.mode.axis(read)
	if l.mode.period == 0 {
		if at-l.mode.axis(l.start) >= shortWindow {
			l.closeAt(at)
		}
		return
	}
	if l.pending && l.next <= at {
		l.closePending()
	}
	if l.anchored {
		for ; l.next+slack < at; l.next += l.mode.period {
			l.closeAt(l.next)
		}
		return
	}
	// Where the refreshes lie is not known, but none is longer than a period: what ran more than a period
	// ago without a rise ran without a miss.
	for at-l.mode.axis(l.start) > 2*l.mode.period {
		l.closeAt(l.mode.axis(l.start) + l.mode.period)
	}
}

// lay books one rise to the refresh that showed it.
func (l *ledger) lay(r rise) {
	if l.mode.period > 0 {
		lo, hi := l.mode.axis(r.lo), l.mode.axis(r.hi)
		lo = max(lo, l.mode.axis(l.start))
		if l.pending && l.next < lo {
			l.closePending()
		}
		if !l.pending {
			l.seek(lo, hi)
		}
		l.next = min(max(l.next, lo), hi)
		l.pending = true
	}
	l.window.misses[r.cylinder] += r.misses
	l.window.full[r.cylinder] = l.window.full[r.cylinder] || r.full
}

// seek finds the refresh between lo and hi, closing the windows that ended before it without a miss.
func (l *ledger) seek(lo, hi float64) {
	slack := nearRefresh * l.mode.period
	if l.anchored {
		for ; l.next < lo-slack; l.next += l.mode.period {
			l.closeAt(l.next)
		}
		if l.next > hi+slack { // one that was not due: the lattice goes on from here
			l.next = (lo + hi) / 2
		}
		return
	}
	at, start := (lo+hi)/2, l.mode.axis(l.start)
	whole := math.Floor((at-start)/l.mode.period - nearRefresh)
	for ; whole > 0; whole-- {
		l.closeAt(at - whole*l.mode.period)
	}
	l.next, l.anchored = at, l.known
}

// closePending ends the window whose misses are booked.
func (l *ledger) closePending() {
	if !l.pending {
		return
	}
	l.pending = false
	l.closeAt(l.next)
	l.next += l.mode.period
}

// closeAt ends the open window at a point of the mode's axis and hands it out.
func (l *ledger) closeAt(at float64) {
	w := &l.window
	w.from, w.running, w.broken = l.start, w.running[:0], false
	l.cut(at)
	w.to = l.start
	for i := range l.lanes {
		w.valid[i] = l.lanes[i].follows(w, w.full[i])
	}
	if w.to.sec > w.from.sec || w.misses != [engine.MaxCylinders]int{} {
		l.sink(w)
	}
	w.misses, w.full = [engine.MaxCylinders]int{}, [engine.MaxCylinders]bool{}
}

// follows reports whether the lane was read all through a window.
func (l *lane) follows(w *window, full bool) bool {
	if !l.reported || l.saturated && !full {
		return false
	}
	late := l.from.sec - w.from.sec
	return late <= max(lateSeconds, lateBaseline*(w.to.sec-w.from.sec))
}

// cut moves the running up to a point of the mode's axis into the window.
func (l *ledger) cut(at float64) {
	done := 0
	for ; done < len(l.slices); done++ {
		s := &l.slices[done]
		from, to := l.mode.axis(s.from), l.mode.axis(s.to)
		if from >= at {
			break
		}
		if to <= at {
			l.enter(*s)
			l.start = s.to
			continue
		}
		part := (at - from) / (to - from)
		middle := place{s.from.rev + part*(s.to.rev-s.from.rev), s.from.sec + part*(s.to.sec-s.from.sec)}
		head := *s
		head.to, s.from = middle, middle
		head.work, s.work = s.work.times(part), s.work.times(1-part)
		l.enter(head)
		l.start = middle
		break
	}
	l.slices = append(l.slices[:0], l.slices[done:]...)
	l.gather()
}

// enter adds one slice to the window.
func (l *ledger) enter(s slice) {
	l.window.broken = l.window.broken || !s.known
	if !s.monitored {
		return
	}
	if l.seconds[s.condition] == 0 {
		l.window.running = append(l.window.running, share{condition: s.condition})
	}
	l.firings[s.condition] += (s.to.rev - s.from.rev) / 2 // a cylinder of a four-stroke fires every second turn
	l.seconds[s.condition] += s.to.sec - s.from.sec
	l.work[s.condition] = l.work[s.condition].plus(s.work)
}

// gather moves the scratch sums into the window's shares, without those that did not turn the engine.
func (l *ledger) gather() {
	kept := l.window.running[:0]
	for _, s := range l.window.running {
		s.firings, s.seconds, s.work = l.firings[s.condition], l.seconds[s.condition], l.work[s.condition]
		l.firings[s.condition], l.seconds[s.condition], l.work[s.condition] = 0, 0, work{}
		if s.firings > 0 {
			kept = append(kept, s)
		}
	}
	l.window.running = kept
}
