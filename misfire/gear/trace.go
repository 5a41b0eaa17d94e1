package gear

import (
	"math"
	"slices"
	"time"
)

const (
	tick  = 200 * time.Millisecond
	ticks = 24 // how many are kept: 4.8 s
)

// bin is what one tick of time held. Values are NaN when nothing fresh was known.
type bin struct {
	start     moment
	rpm       float64 // mean
	low, high float64 // least and greatest rpm
	load      float64 // mean
	quiet     bool    // standing, running, driver's foot off the pedal
}

// trace is the last few seconds in even ticks, whatever the polling rate. Between readings the last one holds.
type trace struct {
	ring   [ticks]bin
	next   int // where the next bin goes
	filled int // bins held
	open   bin
	rpms   int // readings in the open bin
	loads  int
}

// reset forgets everything and opens a bin.
func (t *trace) reset(at moment) {
	*t = trace{}
	t.openBin(at)
}

func (t *trace) openBin(at moment) {
	t.open = bin{start: at}
	t.rpms, t.loads = 0, 0
}

// back is the nth newest closed bin, 0 the newest. n must be below filled.
func (t *trace) back(n int) *bin { return &t.ring[(t.next+ticks-1-n)%ticks] }

// due reports whether the open bin has ended at a time.
func (t *trace) due(now moment) bool { return now.Sub(t.open.start) >= tick }

// close ends the open bin, with the values that hold where none came, and opens the next.
func (t *trace) close(heldRPM, heldLoad float64, quiet bool) {
	b := t.open
	b.quiet = quiet
	if t.rpms == 0 {
		b.rpm, b.low, b.high = heldRPM, heldRPM, heldRPM
	}
	if t.loads == 0 {
		b.load = heldLoad
	}
	t.ring[t.next] = b
	t.next = (t.next + 1) % ticks
	t.filled = min(t.filled+1, ticks)
	t.openBin(b.start.Add(tick))
}

func (t *trace) addRPM(v float64) {
	if t.rpms == 0 {
		t.open.low, t.open.high = v, v
	}
	t.rpms++
	t.open.rpm += (v - t.open.rpm) / float64(t.rpms)
	t.open.low, t.open.high = min(t.open.low, v), max(t.open.high, v)
}

func (t *trace) addLoad(v float64) {
	t.loads++
	t.open.load += (v - t.open.load) / float64(t.loads)
}

// quietFor reports whether the newest n bins were all quiet and held both values.
func (t *trace) quietFor(n int) bool {
	if t.filled < n {
		return false
	}
	for i := range n {
		if b := t.back(i); !b.quiet || math.IsNaN(b.rpm) || math.IsNaN(b.load) {
			return false
		}
	}
	return true
}

// level is the middle of a stretch and how far values stray from it (1.4826 median absolute deviations, the
// usual robust standard deviation).
type level struct{ middle, spread float64 }

// levels are those of load and rpm over the bins from back(from) to back(to), both included.
func (t *trace) levels(from, to int) (load, rpm level) {
	return t.levelOf(from, to, func(b *bin) float64 { return b.load }),
		t.levelOf(from, to, func(b *bin) float64 { return b.rpm })
}

func (t *trace) levelOf(from, to int, value func(*bin) float64) level {
	var room [ticks]float64
	values := room[:0]
	for i := from; i <= to; i++ {
		values = append(values, value(t.back(i)))
	}
	middle := median(values)
	for i, v := range values {
		values[i] = math.Abs(v - middle)
	}
	return level{middle, 1.4826 * median(values)}
}

// median sorts values and gives their middle.
func median(values []float64) float64 {
	slices.Sort(values)
	n := len(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}

// extremes are the least and greatest rpm over the newest n bins.
func (t *trace) extremes(n int) (low, high float64) {
	low, high = t.back(0).low, t.back(0).high
	for i := 1; i < n; i++ {
		low, high = min(low, t.back(i).low), max(high, t.back(i).high)
	}
	return low, high
}
