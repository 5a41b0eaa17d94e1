package misfire

import (
	"math"

	"stumble/misfire/rate"
)

// standstill follows how long a counter that moved before has stood still. One that stands still while the
// engine runs as it did when it moved is no health: the controller may have shut off the fuel of the
// cylinder (P0363), paused its monitor or lost its counter.
//
// Time is measured in misses that the cylinder's own earlier rate, in like condition, would have brought.
// Silences between misses are taken for exponential, their typical length being learnt from those seen so
// far: where misses come in bursts the silences between bursts are long too.
type standstill struct {
	expected float64 // misses due since the counter last rose
	still    bool    // beyond chance, as far as has been seen

	past, squares float64 // sums over earlier silences, of their length and its square
	rises         float64 // windows with misses
}

const (
	// stillChance is how rarely chance alone may call any of a drive's silences a counter that stands still.
	stillChance = 0.001
	// unlike is how many times lower a rate may be in one part of a condition than in all of it: conditions
	// are bands of load and speed, and a long stay at the quiet end of one is no paused monitor.
	unlike = 3.0
)

// chance is how often one of as many silences as there were would last so long by chance: the exponential
// tail, widened because there were only so many rises to learn from.
func (s *standstill) chance() float64 {
	return (s.rises + 1) * math.Pow(1+s.expected/(s.typical()*s.rises), -s.rises)
}

// typical is how long a silence usually lasts, with room for how few have been seen: exponential lengths have
// the mean E(x^2)/2E(x), which minds the long ones. Chance alone gives one.
func (s *standstill) typical() float64 {
	if s.past == 0 {
		return 1
	}
	mean := s.squares / (2 * s.past)
	seen := s.past / mean
	return max(1, mean*(1+2/math.Sqrt(seen)))
}

// broken notes that the counter rose.
func (s *standstill) broken() {
	if !s.still { // a silence beyond chance teaches nothing about usual ones
		s.past += s.expected
		s.squares += s.expected * s.expected
	}
	s.end()
	s.rises++
}

// end notes that what comes does not belong to the same silence.
func (s *standstill) end() { s.expected, s.still = 0, false }

// endCycle ends a driving cycle: a counter that stood still begins anew.
func (b *accounts) endCycle() {
	for i := range b.total {
		if s := &b.total[i].standstill; s.still {
			b.endStandstill(i)
			s.end()
		}
	}
}

// lengthen enters a window without a miss.
func (b *accounts) lengthen(s *standstill, w *window, cylinder int) {
	if s.rises == 0 {
		return
	}
	for _, r := range w.running {
		rate := b.fine.cells[r.condition].at(cylinder).awakeRate()
		if rate == 0 { // it hardly ran so before: what its gear state brought must do
			rate = b.gears.cells[r.condition.condition().Gear].at(cylinder).awakeRate()
		}
		s.expected += r.firings * rate / unlike
	}
	s.still = s.chance() < stillChance
}

// awakeRate is the rate up to the last miss. The last miss itself is left out: it is what ended the running
// that is looked at (Epstein and Sobel 1953).
func (t *tally) awakeRate() float64 {
	if t.misses < 2 {
		return 0
	}
	return (t.misses - 1) / (t.firings + t.clear - t.quiet - t.quietClear)
}

// hush enters running without a miss.
func (t *tally) hush(firings, clear float64) {
	if t.quiet == 0 && t.quietClear == 0 {
		t.ladder.CopyTo(&t.awake)
	}
	t.quiet += firings
	t.quietClear += clear
}

// endStandstill ends the silence of a cylinder, as when its counter rises or a driving cycle ends. What ran while
// the counter stood still beyond chance was not judged and is struck out.
func (b *accounts) endStandstill(cylinder int) {
	still := b.total[cylinder].standstill.still
	if still {
		b.total[cylinder].firings -= b.fine.quiet(cylinder)
		s := &b.total[cylinder]
		s.awake.CopyTo(&s.ladder)
		s.hushed = 0
	}
	for _, l := range b.breakdowns() {
		for _, t := range l.of(cylinder) {
			if still {
				t.strike()
			}
			t.quiet, t.quietClear = 0, 0
		}
	}
}

// quiet is the firings of a cylinder since its counter last rose.
func (l *breakdown) quiet(cylinder int) float64 {
	sum := 0.0
	for _, t := range l.of(cylinder) {
		sum += t.quiet + t.quietClear
	}
	return sum
}

// strike takes the silence out of the tally.
func (t *tally) strike() {
	if t.quiet == 0 && t.quietClear == 0 {
		return
	}
	t.firings -= t.quiet
	t.clear -= t.quietClear
	t.awake.CopyTo(&t.ladder)
	if t.trend != nil {
		t.trend.forget()
	}
}

// seen is the tally as it is to be shown: without the running in which the counter stood still.
func (t *tally) seen(still bool) *tally {
	if !still {
		return t
	}
	s := *t
	s.trend, s.ladder = nil, rate.Ladder{}
	t.ladder.CopyTo(&s.ladder)
	s.strike()
	return &s
}

// count is what decides of a tally: its unmixed windows.
func (t *tally) count() rate.Count { return rate.Count{Misses: t.misses, Firings: t.firings} }
