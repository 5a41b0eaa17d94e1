package misfire

import (
	"math"

	"stumble/misfire/rate"
)

// worseningHeight is the height of the alarm for a doubled rate, per cylinder and condition. By the table of
// package rate an alarm by chance then comes about once in 20 hours on a four-cylinder engine at idle that
// misses once in 1,000 firings.
const worseningHeight = 6.5

// trend watches a rate for worsening, and dates it: the alarm comes some time after the rate rose.
type trend struct {
	watch rate.Worsening
	since float64 // seconds at which the rise that raised the first alarm began; +Inf without one

	// Sums up to some points of the past, evenly spread over the running. When there are as many as there is
	// room for, every second one is dropped.
	past  [32]checkpoint
	n     int
	apart float64 // firings between two of them
	now   checkpoint
}

// checkpoint is what had been seen by a time.
type checkpoint struct {
	rate.Count
	sec float64
}

func newTrend() *trend {
	return &trend{watch: *rate.NewWorsening(worseningHeight), since: math.Inf(1), apart: 100}
}

// add takes the next window, which ran from one time to another, in seconds.
func (t *trend) add(misses, firings, from, to float64) {
	if t.n == 0 || t.now.Firings-t.past[t.n-1].Firings >= t.apart {
		t.keep(checkpoint{t.now.Count, from})
	}
	t.now.Misses += misses
	t.now.Firings += firings
	if t.watch.Add(misses, firings) && math.IsInf(t.since, 1) {
		t.since = t.rose()
	}
	t.now.sec = to
}

// forget begins anew; an alarm that was raised stays.
func (t *trend) forget() {
	since := t.since
	*t = *newTrend()
	t.since = since
}

// keep adds a checkpoint.
func (t *trend) keep(c checkpoint) {
	if t.n == len(t.past) {
		t.n /= 2
		for i := range t.n {
			t.past[i] = t.past[2*i]
		}
		t.apart *= 2
	}
	t.past[t.n] = c
	t.n++
}

// rose is when the rate rose, most likely: the point that parts the running into two of unlike rate with the
// greatest likelihood (Poisson; the constant terms fall out).
func (t *trend) rose() float64 {
	best, when := math.Inf(-1), t.past[0].sec
	for _, c := range t.past[:t.n] {
		after := rate.Count{Misses: t.now.Misses - c.Misses, Firings: t.now.Firings - c.Firings}
		if l := logLikelihood(c.Count) + logLikelihood(after); l > best && !(after.Rate() < c.Rate()) {
			best, when = l, c.sec
		}
	}
	return when
}

func logLikelihood(c rate.Count) float64 {
	if c.Misses == 0 {
		return 0
	}
	return c.Misses * math.Log(c.Misses/c.Firings)
}
