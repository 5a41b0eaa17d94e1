package gear

import "math"

// habit is the usual idle in one state: running medians of load and rpm that forget in about half a minute of
// idle, so that they follow an engine that warms up.
type habit struct {
	load, rpm float64
	seen      int // ticks learned from
}

const (
	habitAfter = 10 // ticks of idle, two seconds, before a habit is known
	loadPace   = 0.03
	rpmPace    = 0.8
)

func (h *habit) known() bool { return h.seen >= habitAfter }

// add moves the medians a bounded step towards a value (stochastic approximation of the median), faster at
// first, and returns by how much.
func (h *habit) add(load, rpm float64) (byLoad, byRPM float64) {
	if h.seen < habitAfter {
		h.seen++
		h.load += (load - h.load) / float64(h.seen)
		h.rpm += (rpm - h.rpm) / float64(h.seen)
		return 0, 0
	}
	pace := loadPace
	if math.Abs(load-h.load) > minLoadStep {
		pace /= 10 // an accessory, or a lever not seen: do not make it the habit soon
	}
	byLoad = min(max(load-h.load, -pace), pace)
	byRPM = min(max(rpm-h.rpm, -rpmPace), rpmPace)
	h.shift(byLoad, byRPM)
	return byLoad, byRPM
}

func (h *habit) shift(load, rpm float64) { h.load, h.rpm = h.load+load, h.rpm+rpm }

// near reports whether an idle is like this one.
func (h *habit) near(load, rpm float64) bool {
	return h.known() && math.Abs(load-h.load) < minLoadStep && math.Abs(rpm-h.rpm) < 2*maxDrift
}
