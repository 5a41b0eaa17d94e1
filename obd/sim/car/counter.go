package car

import "time"

// Refresh is how a controller brings its misfire counters up to date. The zero value is every 200 turns of the
// crank, the block of the catalyst evaluation.
type Refresh struct {
	Revolutions int           // turns between two refreshes
	Every       time.Duration // running time between two refreshes, instead of turns
	PerEvent    bool          // each miss shows at once
	AtKeyOff    bool          // only when the engine stops
}

const saturated = 65535

// counters are the misfire counters of one controller, TID 0B and 0C of its monitors.
type counters struct {
	cylinders int
	refresh   Refresh
	valid     bool // an engine start since the last clear
	counted   [maxCylinders]uint32
	before    [maxCylinders]uint32 // of the driving cycles since the clear that are over
	shown     [maxCylinders]uint16
	average   [maxCylinders]float64 // over the last ten driving cycles
	since     float64               // turns or seconds since the last refresh
}

// begin is an engine start: a fresh driving cycle.
func (k *counters) begin() {
	for i, n := range k.counted {
		k.before[i] += n
	}
	k.counted, k.shown, k.since, k.valid = [maxCylinders]uint32{}, [maxCylinders]uint16{}, 0, true
}

// end is the engine stopping: what was counted is kept to be shown until the next start, and the average takes
// the cycle in: new = 0.1 x cycle + 0.9 x old (obd-wire-facts section 2).
func (k *counters) end() {
	k.flush()
	for i := range k.average[:k.cylinders] {
		k.average[i] = 0.1*float64(k.shown[i]) + 0.9*k.average[i]
	}
}

// clear is what service 04 does to them.
func (k *counters) clear() { *k = counters{cylinders: k.cylinders, refresh: k.refresh} }

func (k *counters) miss(cyl int) {
	k.counted[cyl-1]++
	if k.refresh.PerEvent {
		k.flush()
	}
}

// turn is the passing of running time.
func (k *counters) turn(revs, seconds float64) {
	if k.refresh.PerEvent || k.refresh.AtKeyOff {
		return
	}
	due := 200.0
	switch {
	case k.refresh.Every > 0:
		due, revs = k.refresh.Every.Seconds(), seconds
	case k.refresh.Revolutions > 0:
		due = float64(k.refresh.Revolutions)
	}
	if k.since += revs; k.since >= due {
		k.since -= due
		k.flush()
	}
}

func (k *counters) flush() {
	for i := range k.shown[:k.cylinders] {
		k.shown[i] = uint16(min(k.counted[i], saturated))
	}
}

// total is the counters' sum, as monitor A1 shows it.
func (k *counters) total() uint16 {
	sum := uint32(0)
	for _, n := range k.shown[:k.cylinders] {
		sum += uint32(n)
	}
	return uint16(min(sum, saturated))
}

// totalAverage is the averages' sum.
func (k *counters) totalAverage() uint16 {
	sum := 0.0
	for _, a := range k.average[:k.cylinders] {
		sum += a
	}
	return uint16(min(sum+0.5, saturated))
}
