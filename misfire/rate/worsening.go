package rate

import (
	"math"
	"slices"
)

// Worsening watches one cylinder in one condition, live, for a doubling of its
// rate against its own earlier running. Make it with [NewWorsening]. It keeps
// sums only: constant memory, no allocation.
//
// It is the likelihood-ratio CUSUM for counts (Page 1954; Lucas 1985), the
// fastest for its rate of false alarms (Moustakides 1986): each miss adds ln 2,
// each firing takes off the earlier rate, never below zero, and it alarms at a
// height given in effective misses, that is, times phi.
//
// The earlier rate and its phi are learnt on the spot, and go on being learnt
// from all running before the present rise: what comes while the sum is above
// zero waits until it is back at zero, or has raised the alarm. A rate learnt
// from the first 10 effective misses alone and then frozen is often so low, or
// its phi so small, that alarms never end: with bursts of 5 to 300 firings that
// gave 4 to 70 times as many false alarms as [FalseAlarmEvery] says, and this way
// gives a tenth to nine tenths as many. After 100 effective misses at the old
// rate, a doubling is found within 5 x height effective misses on average, much
// as if the rate were known, and missed in one drive of 50 that goes on for 200.
type Worsening struct {
	height float64
	sum    float64
	all    Dispersion
	rise   Count
	ended  bool // the rise has raised the alarm

	before  Count // what the earlier rate was learnt from
	phi, r0 float64
	learned bool
}

const (
	// leastMisses and leastEffective are how much must have been seen before
	// there is anything to compare with.
	leastMisses    = 30
	leastEffective = 15
	// burstTail raises the alarm where misses come in bursts. Bursts of random
	// (geometric) length reach heights more easily than single misses of the
	// same phi: their sum's tail falls as exp(-0.885 h) rather than exp(-h).
	burstTail = 1/0.885 - 1
)

// NewWorsening watches with an alarm at the given height; see [AlarmHeight].
// An impossible height is read as 6.
func NewWorsening(height float64) *Worsening {
	if !(height > 0) || math.IsInf(height, 1) {
		height = 6
	}
	return &Worsening{height: height}
}

// Add takes the next window and tells whether it raised the alarm. After an
// alarm the sum starts again, and the rise is part of the earlier running: what
// stays worse alarms again, ever more seldom.
func (w *Worsening) Add(misses, firings float64) (alarm bool) {
	c := Count{misses, firings}.clean()
	if c.Firings == 0 {
		return false
	}
	if w.ended {
		w.ended, w.rise = false, Count{}
		w.absorb()
	}
	w.all.Add(c.Misses, c.Firings)
	w.rise = w.rise.plus(c)
	if w.learned {
		w.sum, alarm = cusum(w.sum, c.Misses, c.Firings*w.r0, w.alarmAt())
	}
	if alarm {
		w.sum, w.ended = 0, true
		return true
	}
	if w.sum == 0 {
		w.rise = Count{}
		w.absorb()
	}
	return false
}

// Learned tells that enough has been seen to judge: 30 misses, 15 of them
// effective. Until then there is no alarm.
func (w *Worsening) Learned() bool { return w.learned }

// Before is the earlier rate, unknown until [Worsening.Learned].
func (w *Worsening) Before() Estimate {
	if !w.learned {
		return Interval(0, 0, 1)
	}
	return Interval(w.before.Misses, w.before.Firings, w.phi)
}

// Rise is the misses and firings since the sum last was zero, which is when a
// worsening began if there is one; none when it is zero. After an alarm it is
// that alarm's until the next window.
func (w *Worsening) Rise() Count { return w.rise }

func (w *Worsening) alarmAt() float64 {
	return w.height * w.phi * (1 + burstTail*(1-1/w.phi))
}

// cusum is one step: misses against as many as expected; alarm at the height.
func cusum(sum, misses, expected, height float64) (next float64, alarm bool) {
	next = math.Max(0, sum+misses*math.Ln2-expected)
	return next, next >= height-1e-9 // sums of ln 2 are not exact
}

// absorb makes all running so far the earlier running, when there is enough new
// to matter.
func (w *Worsening) absorb() {
	t := w.all.Total()
	if t.Misses < 1.03*w.before.Misses && t.Firings < 1.03*w.before.Firings {
		return
	}
	phi, judged := w.all.Final()
	w.learned = w.learned || judged && t.Misses >= leastMisses && t.Misses/phi >= leastEffective
	w.before, w.phi = t, phi
	// The mean of a gamma posterior, half a miss in 500 firings being the prior.
	w.r0 = (t.Misses + 0.5) / (t.Firings + 500)
}

// alarmTable is how many effective misses pass between false alarms at each
// height, for a rate known without error.
var alarmTable = [...]struct{ height, every float64 }{
	{3, 70}, {4, 209}, {5, 600}, {5.5, 1000}, {6, 1600}, {6.5, 2700}, {7, 4300},
}

// FalseAlarmEvery is about how many effective misses at an unchanged rate pass
// between two false alarms of a [Worsening] of that height, 3 to 7 (heights
// beyond are read as the nearest). Measured with the rate learnt on the spot they
// come more seldom still, up to bursts of 300 firings.
func FalseAlarmEvery(height float64) float64 {
	t := alarmTable[:]
	if !(height > t[0].height) {
		return t[0].every
	}
	i := slices.IndexFunc(t, func(r struct{ height, every float64 }) bool { return r.height >= height })
	if i < 0 {
		return t[len(t)-1].every
	}
	a, b := t[i-1], t[i]
	along := (height - a.height) / (b.height - a.height)
	return a.every * math.Pow(b.every/a.every, along) // it grows as an exponential
}

// AlarmHeight is the height, 3 to 7, at which false alarms come about once in so
// many effective misses. For one false alarm in 20 hours on four cylinders that
// miss once in 1,000 at 800 rpm (480 each) that is once in 1,920: 6.2.
func AlarmHeight(every float64) float64 {
	low, high := alarmTable[0].height, alarmTable[len(alarmTable)-1].height
	for high-low > 1e-6 {
		mid := (low + high) / 2
		if FalseAlarmEvery(mid) < every {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
