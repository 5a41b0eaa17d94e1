package lever

import (
	"math"
	"slices"
)

// Period is the length of a tick, in seconds.
const Period = 0.2

// Tick is what the car said in one tick of time. Values are NaN where nothing fresh is known.
type Tick struct {
	RPM, Load       float64 // means; rpm and per cent
	Speed           float64 // km/h, the last
	Pedal, Throttle float64 // per cent, the last
	Volts           float64 // of the supply, the last
}

// seen is a tick with what it shows.
type seen struct {
	Tick
	at     float64 // when it began, in seconds
	runs   bool
	stands bool
	moves  bool
	off    bool // the foot is off the pedal
	quiet  bool // idles at rest with the foot off
}

// Limits of what a tick shows.
const (
	runsFrom     = 350.0  // rpm
	movesFrom    = 2.0    // km/h, more is motion
	movesAfter   = 3      // ticks of it: one spoiled reading is none
	standsAfter  = 3      // ticks of 0 km/h
	quietTo      = 1700.0 // rpm: above any idle
	pedalPlay    = 1.5    // points above the least still called off the pedal
	throttlePlay = 12.0   // more: idle control may work through the throttle (common practice, no source)
	quietAfter   = 4      // ticks with the foot off
)

// trail is the newest ticks.
type trail struct {
	ring [64]seen
	n    int // ticks ever taken
}

func (t *trail) add(k seen) {
	t.ring[t.n%len(t.ring)] = k
	t.n++
}

// back is the nth newest tick, 0 the newest.
func (t *trail) back(n int) *seen { return &t.ring[(t.n-1-n)%len(t.ring)] }

// held is how many ticks can be asked for.
func (t *trail) held() int { return min(t.n, len(t.ring)) }

func load(k *seen) float64  { return k.Load }
func rpm(k *seen) float64   { return k.RPM }
func volts(k *seen) float64 { return k.Volts }

// median is that of a value over the ticks back(from) to back(to), both included; those not known are left out.
func (t *trail) median(from, to int, value func(*seen) float64) float64 {
	var room [16]float64
	values := room[:0]
	for i := from; i <= min(to, t.held()-1) && len(values) < len(room); i++ {
		if v := value(t.back(i)); !math.IsNaN(v) {
			values = append(values, v)
		}
	}
	return median(values)
}

// levelOf is the level over the ticks back(from) to back(to).
func (t *trail) levelOf(from, to int) level {
	return level{t.median(from, to, load), t.median(from, to, rpm)}
}

// quiet reports whether the ticks back(from) to back(to) all were.
func (t *trail) quiet(from, to int) bool {
	if to >= t.held() {
		return false
	}
	for i := from; i <= to; i++ {
		if !t.back(i).quiet {
			return false
		}
	}
	return true
}

// spread is 1.4826 times the median distance of a value from its median, the usual robust standard deviation.
func (t *trail) spread(from, to int, value func(*seen) float64) float64 {
	middle := t.median(from, to, value)
	return 1.4826 * t.median(from, to, func(k *seen) float64 { return math.Abs(value(k) - middle) })
}

// median sorts values and gives their middle; NaN of none.
func median(values []float64) float64 {
	n := len(values)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(values)
	return (values[(n-1)/2] + values[n/2]) / 2
}

// least is the least value seen, forgotten upwards at a pace a tick, so that a rest that crept up is learned.
type least struct {
	value float64
	known bool
}

const leastPace = 0.005 // points a tick

func (l *least) add(v float64) {
	if math.IsNaN(v) {
		return
	}
	if !l.known || v < l.value {
		l.value, l.known = v, true
		return
	}
	l.value = min(l.value+leastPace, v)
}

// off reports whether a value is near the least; what was never told is off.
func (l *least) off(v, play float64) bool { return math.IsNaN(v) || !l.known || v <= l.value+play }
