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
	running  []share // of monitored running only
	known    float64 // seconds of known running, monitored or not
	broken   bool    // how long the engine ran for these misses is not known
	shown
	valid [engine.MaxCylinders]bool // the counter was followed all through the window
}

// shown is what one refresh brought.
type shown struct {
	misses [engine.MaxCylinders]int
	full   [engine.MaxCylinders]bool // the counter reached its end
}

// cylinders is how many were followed all through the window.
func (w *window) cylinders() int {
	n := 0
	for _, valid := range w.valid {
		if valid {
			n++
		}
	}
	return n
}

func (s *shown) add(r rise) {
	s.misses[r.cylinder] += r.misses
	s.full[r.cylinder] = s.full[r.cylinder] || r.full
}

// share is the running of one condition within a window. As the ledger cuts them, shares are stretches in order of
// time whose gear is still open, and a condition may come twice.
type share struct {
	condition conditionIndex
	from, to  float64 // seconds since the tally began
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
	midway     bool // the open window may have begun before it was watched

	mode     candidate // how the car refreshes
	known    bool      // mode was found, not assumed
	anchored bool      // due is where a refresh is due
	due      float64   // on the mode's axis
	step     float64   // revolutions of a window of a car that shows misses at once; at least shortWindow

	window  window
	atOnce  shown // booked to the open window of a car that shows misses at once
	refresh shown // scratch of lay
}

// assumed is the cadence taken until the car's own is known: the longest that is usual. A miss is then placed
// no later than it was shown and, as a rule, no more than a period before.
var assumed = candidate{kind: RefreshRevolutions, period: 1000}

const (
	// nearRefresh is how far from where it is due, as a part of the period, a refresh is still taken for the
	// one that was due.
	nearRefresh = 0.15
	// shortWindow is the running of a window, in revolutions, when counters move at once. Finer would gain
	// nothing over the time that reading all cylinders takes.
	shortWindow = 20
	// quietWindow is the running of a window, in revolutions or seconds, that is known to be without a miss
	// though no refresh ended it.
	quietWindow = 200
	// lateBaseline is how much of a window, in part or in seconds, a counter may have missed and still count
	// for all of it: settling and the first round of readings take about so long.
	lateBaseline, lateSeconds = 0.05, baselineSettles + 1.5
	// The most that is held before the cadence is known. Without a rise there is nothing to place, and the
	// car may be one that shows its counts at key-off: then it is worth holding on longer.
	mostSlices, mostRevolutions = 4096, 30000
)

func newLedger(lanes *[engine.MaxCylinders]lane, sink func(*window)) *ledger {
	return &ledger{lanes: lanes, sink: sink, mode: assumed, holding: true, midway: true,
		slices: make([]slice, 0, 256), rises: make([]rise, 0, 64)}
}

// run enters one step in its condition.
func (l *ledger) run(s *step, c conditionIndex) {
	to := place{l.now.rev + s.revs, s.to}
	n := len(l.slices)
	if n > 0 && l.slices[n-1].goesOn(s, c) {
		last := &l.slices[n-1]
		last.to, l.now = to, to
		last.work = last.work.plus(s.work())
		return
	}
	from := place{l.now.rev, s.from}
	if n == 0 {
		l.start = from
	}
	l.slices = append(l.slices, slice{condition: c, from: from, to: to, work: s.work(), monitored: s.monitored, known: s.known})
	l.now = to
}

// goesOn reports whether a step follows without a gap in the same condition.
func (s *slice) goesOn(next *step, c conditionIndex) bool {
	return s.condition == c && s.monitored == next.monitored && s.known == next.known && next.from-s.to.sec < 1e-6
}

// rise enters misses that a counter showed.
func (l *ledger) rise(r rise) { l.rises = append(l.rises, r) }

// adopt takes a newly found cadence from here on; what is held is cut by it too.
func (l *ledger) adopt(mode candidate) {
	if l.known && l.mode == mode {
		return
	}
	l.closeAtOnce()
	l.mode, l.known, l.anchored, l.holding = mode, true, false, false
}

// goOn goes on by a cadence that is not sure, when holding on costs too much or there is no more to wait for.
func (l *ledger) goOn(guess candidate) {
	if l.holding {
		l.mode, l.holding = guess, false
	}
}

// tooMuch reports that holding on for the cadence is no longer worth it.
func (l *ledger) tooMuch() bool {
	return len(l.slices) >= mostSlices || l.now.rev-l.start.rev >= mostRevolutions && (len(l.rises) > 0 || !l.reported())
}

// reported reports whether any counter is being followed.
func (l *ledger) reported() bool {
	for i := range l.lanes {
		if l.lanes[i].based {
			return true
		}
	}
	return false
}

// provisional cuts a copy of what is held by a cadence not yet sure, and hands the windows to sink.
func (l *ledger) provisional(guess candidate, sink func(*window)) {
	// Where nothing rose there is nothing to place: a few windows will do, however long it ran.
	const few = 64
	c := &ledger{lanes: l.lanes, sink: sink, mode: guess, midway: l.midway, start: l.start, now: l.now, step: (l.now.rev - l.start.rev) / few,
		slices: append([]slice(nil), l.slices...), rises: append([]rise(nil), l.rises...)}
	c.settle()
}

// settle hands out every window that is complete.
func (l *ledger) settle() {
	if l.holding {
		return
	}
	read := l.readBeyond()
	if l.mode.period == 0 {
		l.settleAtOnce(read)
		return
	}
	for len(l.rises) > 0 && l.rises[0].hi.sec <= read.sec {
		l.lay()
	}
	for _, r := range l.rises { // what they show may have been refreshed as early as this
		if r.lo.sec < read.sec {
			read = r.lo
		}
	}
	l.closeQuiet(l.mode.axis(read))
}

// breakOff ends a driving cycle and begins the next; midway tells that it was under way before it was
// watched. The running since the last refresh was never shown and is left out.
func (l *ledger) breakOff(guess candidate, midway bool) {
	l.goOn(guess)
	l.settle()
	l.closeAtOnce()
	if l.mode.kind == RefreshKeyOff && l.readBeyond().sec > l.now.sec { // read once more after the engine stopped
		l.closeAt(l.now.rev, nil)
	}
	l.slices, l.rises = l.slices[:0], l.rises[:0]
	l.start, l.anchored, l.midway = l.now, false, midway
	l.holding = !l.known
}

// readBeyond is the place up to which every counter has been read; without counters all is.
func (l *ledger) readBeyond() place {
	read, first := l.now, true
	for i := range l.lanes {
		if lane := &l.lanes[i]; lane.based && (first || lane.read.sec < read.sec) {
			read, first = lane.read, false
		}
	}
	return read
}

// settleAtOnce cuts short windows, each with the rises read in it.
func (l *ledger) settleAtOnce(read place) {
	step := max(shortWindow, l.step)
	for end := l.start.rev + step; end <= read.rev; end += step {
		l.bookAtOnce(end)
		l.closeAt(end, &l.atOnce)
		l.atOnce = shown{}
	}
}

// bookAtOnce books the rises up to a number of revolutions.
func (l *ledger) bookAtOnce(rev float64) {
	n := 0
	for ; n < len(l.rises) && l.rises[n].hi.rev <= rev; n++ {
		l.atOnce.add(l.rises[n])
	}
	l.rises = append(l.rises[:0], l.rises[n:]...)
}

// closeAtOnce ends the open window of a car that shows misses at once, if it is one.
func (l *ledger) closeAtOnce() {
	if l.holding || l.mode.period > 0 {
		return
	}
	read := l.readBeyond()
	l.bookAtOnce(read.rev)
	l.closeAt(read.rev, &l.atOnce)
	l.atOnce = shown{}
}

// lay ends the window of the first rise at its refresh. All counters were read beyond it, so that those which
// rose at the same refresh are among the rises too.
func (l *ledger) lay() {
	s := span{l.rises[0].lo, l.rises[0].hi}
	l.refresh = shown{}
	kept := l.rises[:0]
	for i, r := range l.rises {
		if i > 0 && !s.overlaps(r) {
			kept = append(kept, r)
			continue
		}
		s = s.narrow(r)
		l.refresh.add(r)
	}
	l.rises = kept
	at := l.seek(max(l.mode.axis(s.lo), l.mode.axis(l.start)), l.mode.axis(s.hi))
	if l.mode.period < math.Inf(1) && at-l.mode.axis(l.start) >= (1-nearRefresh)*l.mode.period {
		l.midway = false
	}
	l.closeAt(at, &l.refresh)
	l.due, l.anchored = at+l.mode.period, l.known || l.mode != assumed
}

// seek finds the refresh between lo and hi, closing the windows that ended before it without a miss.
func (l *ledger) seek(lo, hi float64) float64 {
	slack := nearRefresh * l.mode.period
	if l.anchored {
		for ; l.anchored && l.due < lo-slack; l.due += l.mode.period {
			l.closeAt(l.due, nil)
		}
		if l.anchored && l.due <= hi+slack {
			return min(max(l.due, lo), hi)
		}
	}
	if l.mode.kind == RefreshKeyOff {
		return hi
	}
	at, start := (lo+hi)/2, l.mode.axis(l.start)
	for whole := math.Floor((at-start)/l.mode.period - nearRefresh); whole > 0; whole-- {
		l.closeAt(at-whole*l.mode.period, nil)
	}
	return at
}

// closeQuiet closes the windows up to a point that brought no miss.
func (l *ledger) closeQuiet(at float64) {
	for slack := nearRefresh * l.mode.period; l.anchored && l.due+slack < at; l.due += l.mode.period {
		l.closeAt(l.due, nil)
	}
	// Where the refreshes lie is not known, but none is longer than a period: what ran more than a period
	// ago without a rise ran without a miss.
	for part := min(l.mode.period, quietWindow); !l.anchored && at-l.mode.axis(l.start) > l.mode.period+part; {
		l.closeAt(l.mode.axis(l.start)+part, nil)
	}
}

// closeAt ends the open window at a point of the mode's axis and hands it out with what its refresh brought,
// nil for nothing.
func (l *ledger) closeAt(at float64, brought *shown) {
	w := &l.window
	*w = window{from: l.start, running: w.running[:0]}
	if brought != nil {
		w.shown = *brought
	}
	l.cut(at)
	w.to = l.start
	for i := range l.lanes {
		w.valid[i] = l.lanes[i].follows(w, w.full[i])
	}
	some := w.misses != [engine.MaxCylinders]int{}
	if some && l.midway && l.mode.period > 0 {
		w.broken = true // part of these misses may be older than the watch
	}
	l.midway = false
	if some || w.to.sec > w.from.sec {
		l.sink(w)
	}
}

// follows reports whether the lane was read all through a window.
func (l *lane) follows(w *window, full bool) bool {
	if !l.based || l.saturated && !full {
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
		if to > at {
			if from < at {
				l.enter(s.split((at - from) / (to - from)))
				l.start = s.from
			}
			break
		}
		l.enter(*s)
		l.start = s.to
	}
	l.slices = append(l.slices[:0], l.slices[done:]...)
}

// split takes the first part off a slice.
func (s *slice) split(part float64) (head slice) {
	middle := place{s.from.rev + part*(s.to.rev-s.from.rev), s.from.sec + part*(s.to.sec-s.from.sec)}
	head = *s
	head.to, s.from = middle, middle
	head.work, s.work = s.work.times(part), s.work.times(1-part)
	return head
}

// enter adds one slice to the window.
func (l *ledger) enter(s slice) {
	if !s.known {
		l.window.broken = true
		// How far the engine turned meanwhile nobody knows, and so not where refreshes by revolutions lie.
		l.anchored = l.anchored && l.mode.kind == RefreshSeconds
		return
	}
	l.window.known += s.to.sec - s.from.sec
	if !s.monitored {
		return
	}
	part := share{condition: s.condition, from: s.from.sec, to: s.to.sec, seconds: s.to.sec - s.from.sec, work: s.work,
		firings: (s.to.rev - s.from.rev) / 2} // a cylinder of a four-stroke fires every second turn
	if part.firings <= 0 {
		return
	}
	if n := len(l.window.running); n > 0 && l.window.running[n-1].goesOn(&part) {
		l.window.running[n-1].take(&part)
		return
	}
	l.window.running = append(l.window.running, part)
}

// goesOn reports whether a share follows without a gap in the same condition.
func (s *share) goesOn(next *share) bool {
	return s.condition == next.condition && next.from-s.to < 1e-6
}

// take adds running to the share.
func (s *share) take(o *share) {
	s.to = o.to
	s.firings += o.firings
	s.seconds += o.seconds
	s.work = s.work.plus(o.work)
}
