// Package idle counts short dips of engine speed at a steady idle: the weaker evidence for cars that report no
// misfire counts. A dip is not a miss. Idle control, a gear shift in an accessory and a rough road make dips as
// well, a miss between two readings makes none, and a cylinder that never fires makes the whole idle even
// again. Two figures of one car in two gear states may be compared; two cars may not, nor drives polled at
// different pace: on the simulated car three misses in four are seen when speed is asked sixteen times a second,
// one in four at four times a second. The package is pure: time comes from the samples alone.
package idle

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"stumble/misfire/gear"
	"stumble/misfire/track"
	"stumble/obd"
)

// What counts as a steady idle, and as a dip. Chosen on simulated idles; no source.
const (
	slowest      = 350.0                 // rpm; slower is stalling
	maxDrift     = 25.0                  // rpm that the middle may move within the window
	throttleMove = 1.5                   // points that the throttle may move within the window
	reach        = time.Second           // of the window, each side of the reading judged
	leastSide    = 3                     // readings each side, when fewer come within reach
	hole         = time.Second           // between readings; a longer one breaks the idle
	settling     = 3 * time.Second       // left out after the gear state changed
	capacity     = 80                    // readings held
	closest      = 30 * time.Millisecond // between readings; of faster ones some are left out, so that the window fits
	spreads      = 5.0                   // usual deviations that a dip must exceed
	learnAfter   = 40                    // readings before the usual deviation is trusted
)

// leastDip is the depth in rpm below which nothing is called a dip, for a time between readings: many times the
// resolution of PID 0C (0.25 rpm), and more when readings are so far apart that a hunting idle moves meanwhile.
func leastDip(interval time.Duration) float64 {
	const resolution, hunting = 0.25, 20 // rpm; rpm a second
	return 24*resolution + hunting*min(interval.Seconds(), 1)
}

type reading struct {
	at       time.Time
	rpm      float64
	throttle float64
}

// tally is what was seen in one gear state.
type tally struct {
	dips    int
	minutes float64
}

// Index counts dips of one drive. It uses a fixed amount of memory. The zero Index is ready. It is not safe for
// use by two goroutines at once.
type Index struct {
	car track.State

	state   gear.State
	ring    [capacity]reading
	began   time.Time // first reading of the unbroken idle
	first   int       // oldest reading held
	held    int
	judged  int     // how many of those held were passed, oldest first
	usual   float64 // running median of the size of deviations, rpm
	learned int     // deviations it was learned from
	deep    bool    // within a dip

	tallies [gear.States]tally
}

// Add takes the next sample, with the gear state at the time. Samples must come in order of time.
func (x *Index) Add(s *obd.Sample, st gear.State) {
	turned := false
	for i := range s.Readings {
		turned = x.car.Take(&s.Readings[i], s.Received)&track.Turned != 0 || turned
	}
	if turned {
		x.take(reading{at: s.Received, rpm: x.car.RPM.V, throttle: x.car.Throttle.V}, st)
	}
}

// take puts a reading into the window and judges those whose window is complete.
func (x *Index) take(r reading, st gear.State) {
	idles := (st == gear.ParkNeutral || st.Loaded()) &&
		r.rpm >= slowest && r.rpm <= track.IdleTo &&
		x.car.Speed.V == 0 && x.car.Speed.Fresh(r.at, track.SpeedLasts)
	broken := x.held > 0 && r.at.Sub(x.at(x.held-1).at) > hole
	if !idles || broken || st != x.state {
		x.state, x.began, x.first, x.held, x.judged, x.deep = st, r.at, 0, 0, 0, false
	}
	if !idles {
		return
	}
	if x.held > 0 && r.at.Sub(x.at(x.held-1).at) < closest {
		return
	}
	if x.held == capacity {
		x.drop()
	}
	x.ring[(x.first+x.held)%capacity] = r
	x.held++
	x.judge()
}

func (x *Index) drop() {
	x.first = (x.first + 1) % capacity
	x.held--
	x.judged = max(x.judged-1, 0)
}

// at is the nth oldest reading held.
func (x *Index) at(n int) *reading { return &x.ring[(x.first+n)%capacity] }

// judge passes readings that have enough others on both sides.
func (x *Index) judge() {
	for ; x.judged < x.held; x.judged++ {
		i := x.judged
		from, to := i, i
		for from > 0 && (i-from < leastSide || x.at(i).at.Sub(x.at(from-1).at) <= reach) {
			from--
		}
		for to < x.held-1 && (to-i < leastSide || x.at(to+1).at.Sub(x.at(i).at) <= reach) {
			to++
		}
		if to == x.held-1 {
			return // more may belong to the window
		}
		if i-from >= leastSide && to-i >= leastSide && x.at(i).at.Sub(x.began) >= settling {
			x.weigh(from, i, to)
		}
	}
}

// weigh looks whether the reading at i is a dip in the window between from and to.
func (x *Index) weigh(from, i, to int) {
	before, after := x.middle(from, i-1), x.middle(i+1, to)
	if math.Abs(before-after) > maxDrift || x.throttleSpan(from, to) > throttleMove {
		x.deep = false
		return
	}
	spent := x.at(i).at.Sub(x.at(i - 1).at)
	depth := max(before, after) - x.at(i).rpm
	mean := x.at(to).at.Sub(x.at(from).at) / time.Duration(to-from)
	least := max(leastDip(mean), spreads*1.4826*x.usual) // 1.4826: from median to standard deviation
	x.learn(math.Abs(depth))
	if x.learned < learnAfter {
		return
	}
	t := &x.tallies[x.state]
	t.minutes += spent.Minutes()
	switch {
	case depth > least && !x.deep:
		x.deep = true
		t.dips++
	case depth < least/2:
		x.deep = false
	}
}

// learn moves the usual deviation towards a new one: an average at first, then a running median (stochastic
// approximation), which dips cannot pull up.
func (x *Index) learn(deviation float64) {
	const share = 0.02
	if x.learned < learnAfter {
		x.learned++
		x.usual += (deviation - x.usual) / float64(x.learned)
		return
	}
	step := max(share*x.usual, 0.01)
	x.usual += math.Copysign(step, deviation-x.usual)
}

// middle is the median of rpm over readings from to to, both included.
func (x *Index) middle(from, to int) float64 {
	var room [capacity]float64
	values := room[:0]
	for i := from; i <= to; i++ {
		values = append(values, x.at(i).rpm)
	}
	slices.Sort(values)
	n := len(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}

func (x *Index) throttleSpan(from, to int) float64 {
	low, high := x.at(from).throttle, x.at(from).throttle
	for i := from + 1; i <= to; i++ {
		low, high = min(low, x.at(i).throttle), max(high, x.at(i).throttle)
	}
	return high - low
}

// PerMinute is what was seen of one gear state: dips, the minutes of steady idle they were seen in, and exact
// 95 % limits of dips a minute (Garwood 1936, from the chi-squared distribution). The limits suppose that dips
// come singly; coming in bursts they are wider. Without any running the limits are 0 and +Inf. A state that is
// no idle has none.
func (x *Index) PerMinute(st gear.State) (dips int, minutes, low, high float64) {
	if int(st) >= len(x.tallies) {
		return 0, 0, 0, math.Inf(1)
	}
	t := x.tallies[st]
	if t.minutes == 0 {
		return 0, 0, 0, math.Inf(1)
	}
	if t.dips > 0 {
		low = distuv.ChiSquared{K: 2 * float64(t.dips)}.Quantile(0.025) / 2 / t.minutes
	}
	high = distuv.ChiSquared{K: 2*float64(t.dips) + 2}.Quantile(0.975) / 2 / t.minutes
	return t.dips, t.minutes, low, high
}
