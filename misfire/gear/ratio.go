package gear

import (
	"math"
	"time"
)

// ratios finds the forward gears a car drives in from engine revolutions per road distance, rpm per km/h: each
// gear makes one steady value. Gears are counted from the lowest, and only once something as short as a first
// gear was seen, else every number would be too low. A converter that slips or a stepless box never holds a
// value for long, and then no number is given.
type ratios struct {
	steps  [maxGears]float64 // natural logarithm of rpm per km/h of each gear met, falling
	seen   [maxGears]int     // readings that agreed
	n      int
	held   float64 // value when it was first held
	mean   float64 // of the readings since
	count  int     // of them
	since  moment  // since when; zero when none is held
	number int     // gear at present, 0 when not known
}

const (
	maxGears     = 10
	slowest      = 12.0 // km/h; below, whole km/h are too coarse
	firstGear    = 95.0 // rpm per km/h; first gears lie above, second gears mostly below (common practice, no source)
	holdWithin   = 0.02 // relative; readings this alike are one gear held, but for the rounding of speed
	rounding     = 0.6  // km/h, a little more than half a step of PID 0D
	gearWithin   = 0.08 // relative; gears lie 20 % and more apart (common practice, no source)
	heldFor      = 1500 * time.Millisecond
	seenOften    = 10 // readings before a gear counts
	leastRatio   = 10.0
	largestRatio = 400.0
)

// leave forgets the value held, not the gears met.
func (r *ratios) leave() { r.since, r.number = 0, 0 }

// add takes engine and road speed and updates number.
func (r *ratios) add(rpm, speed float64, at moment) {
	if speed < slowest || rpm < leastRatio*speed || rpm > largestRatio*speed {
		r.leave()
		return
	}
	value := math.Log(rpm / speed)
	if r.since.IsZero() || math.Abs(value-r.held) > holdWithin+rounding/speed {
		r.leave()
		r.held, r.mean, r.count, r.since = value, value, 1, at
		return
	}
	r.count++
	r.mean += (value - r.mean) / float64(r.count)
	if at.Sub(r.since) >= heldFor {
		r.number = r.rank(r.meet(r.mean))
	}
}

// meet is the place of the gear of a value, adding it when it is new; -1 when there is no room for it.
func (r *ratios) meet(value float64) int {
	i := 0
	for i < r.n && r.steps[i] > value+gearWithin {
		i++
	}
	if i < r.n && math.Abs(r.steps[i]-value) <= gearWithin {
		r.seen[i]++
		r.steps[i] += (value - r.steps[i]) / float64(min(r.seen[i], 200))
		return i
	}
	if r.n == maxGears {
		return -1
	}
	copy(r.steps[i+1:], r.steps[i:r.n])
	copy(r.seen[i+1:], r.seen[i:r.n])
	r.steps[i], r.seen[i] = value, 1
	r.n++
	return i
}

// rank is the number of the gear at a place: how many gears met often are as low or lower.
func (r *ratios) rank(place int) int {
	if place < 0 || r.seen[place] < seenOften {
		return 0
	}
	number := 0
	lowest := 0.0
	for i := range place + 1 {
		if r.seen[i] < seenOften {
			continue
		}
		if number == 0 {
			lowest = r.steps[i]
		}
		number++
	}
	if lowest < math.Log(firstGear) {
		return 0
	}
	return number
}
