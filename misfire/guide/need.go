package guide

import (
	"math"
	"time"

	"stumble/misfire"
	"stumble/misfire/rate"
)

const (
	// refreshes is how many refreshes of the counters a step must see (statistics of a rate need the ends of a
	// stretch to lie at refreshes, with some between them).
	refreshes = 5
	// assumed is the refresh, in revolutions, of a car whose own is not known: the longest that is usual
	// (13 CCR 1968.2 (e)(3.2) has blocks of 200 and 1,000).
	assumed = 1000
	// unmistaken is how many revolutions without a refresh a driving cycle must have before the tally believes that
	// the counters move only at its end: three of the longest usual refreshes, and some.
	unmistaken = 3100
	// leastRate is the fault to be found where none was seen yet, in misses per 1,000 firings.
	leastRate = 2
	// unseen is the chance that such a fault does not show.
	unseen = 0.05
	// enough is how many misses of one cylinder in the step's gear say that the fault does show. A choice: the
	// rate is then known to a factor of some two and a half.
	enough = 5
)

// need is what a step has to see, fixed when it begins.
type need struct {
	firings float64   // of each cylinder
	rate    float64   // of the fault that they would show, per 1,000
	misses  []float64 // by cylinder in the step's gear, when the step began
}

// needed works out the present step's need.
func (t *LoadTest) needed() need {
	worst, phi := suspect(t.now)
	if worst == 0 {
		worst, phi = t.cfg.Known.Rate, t.cfg.Known.Phi
	}
	if worst == 0 {
		worst, phi = leastRate, 1
	}
	return need{firings: rate.ToSeeOnce(worst/1000, unseen, phi), rate: worst, misses: t.inGear()}
}

// suspect is the rate of the cylinder that stands out, per 1,000 firings, and its dispersion; 0 when none does.
func suspect(s *misfire.Summary) (perThousand, phi float64) {
	named := s.Verdict.Named()
	if len(named) == 0 {
		return 0, 1
	}
	for i := range s.Total {
		c := &s.Total[i]
		if c.Cylinder != named[0] {
			continue
		}
		if c.Bursts {
			return c.Rate, c.Phi
		}
		return c.Rate, 1
	}
	return 0, 1
}

// inGear is the misses counted in the step's gear so far, by cylinder.
func (t *LoadTest) inGear() []float64 {
	misses := make([]float64, len(t.now.Total))
	for i := range t.now.ByGear {
		c := &t.now.ByGear[i]
		if t.step().meets(c.Condition.Gear) && c.Cylinder <= len(misses) {
			misses[c.Cylinder-1] += c.Misses
		}
	}
	return misses
}

// shown reports whether the fault has shown in this step beyond doubt.
func (t *LoadTest) shown() bool {
	before := t.run().need.misses
	for i, m := range t.inGear() {
		if i < len(before) {
			m -= before[i]
		}
		if m >= enough {
			return true
		}
	}
	return false
}

// target is the firings that the present step runs for; 0 where they decide nothing.
func (t *LoadTest) target() float64 {
	if !t.now.Counted() || t.shown() {
		return 0
	}
	return t.run().need.firings
}

// left is how long the present step still takes at the engine speed seen, the rests of a pull among it.
func (t *LoadTest) left() time.Duration {
	s, u := t.step(), t.run()
	left := s.Least - u.in
	if t.now.Counted() {
		toMost := s.Most - u.in
		left = max(left, min(t.turning(2*(t.target()-u.firings())), toMost))
		refresh, known := t.toRefresh()
		if !known || s.Fixed {
			refresh = min(refresh, toMost)
		}
		left = max(left, refresh)
	}
	if left = max(left, 0); s.Burst > 0 {
		left += t.resting(left)
	}
	return left
}

// resting is the rests that still lie between bursts.
func (t *LoadTest) resting(left time.Duration) time.Duration {
	s := t.step()
	if t.ask == AskRest {
		return max(s.Rest-t.rested(), 0) + time.Duration((max(left, 1)-1)/s.Burst)*s.Rest
	}
	return time.Duration((max(left+t.atOnce(), 1)-1)/s.Burst) * s.Rest
}

// toRefresh is how long it takes until enough refreshes lie within the step.
func (t *LoadTest) toRefresh() (left time.Duration, known bool) {
	u := t.run()
	f := t.refresh()
	switch {
	case f.Kind == misfire.RefreshKeyOff:
		return 0, true
	case t.cfg.KeyOff:
		return t.turning(unmistaken - u.revs), true
	}
	switch f.Kind {
	case misfire.RefreshSeconds:
		return seconds(refreshes*f.Seconds) - u.in, true
	case misfire.RefreshRevolutions:
		return t.turning(refreshes*f.Revolutions - u.revs), true
	case misfire.RefreshUnknown:
		return t.turning(refreshes*t.cadence.most() - u.revs), false
	}
	return 0, true
}

// toLast is how long the engine still idles until what the last step's misses are shown for sure: one refresh more.
func (t *LoadTest) toLast() time.Duration {
	if t.keyOff() || !t.now.Counted() || !t.now.Live.Running {
		return 0
	}
	var period float64
	switch f := t.refresh(); f.Kind {
	case misfire.RefreshSeconds:
		return seconds(f.Seconds) + readTime - t.last.Sub(t.ended)
	case misfire.RefreshRevolutions:
		period = f.Revolutions
	case misfire.RefreshUnknown:
		period = t.cadence.most()
	}
	return seconds(60 * (period + readTime.Minutes()*idle - (t.cadence.revs - t.turned)) / idle)
}

const readTime = 3 * time.Second // a round of readings of all cylinders, and more

// keyOff reports whether each step is a driving cycle of its own.
func (t *LoadTest) keyOff() bool {
	return t.cfg.KeyOff || t.now != nil && t.refresh().Kind == misfire.RefreshKeyOff
}

// refresh is how the counters move: as this drive found, else as was known.
func (t *LoadTest) refresh() misfire.Refresh {
	if t.now.Refresh.Kind == misfire.RefreshUnknown {
		return t.cfg.Known.Refresh
	}
	return t.now.Refresh
}

// turning is how long so many revolutions take at the step's engine speed.
func (t *LoadTest) turning(revs float64) time.Duration {
	return seconds(60 * max(revs, 0) / t.speed())
}

// speed is the engine speed of the step: as seen in it, once there is enough of it.
func (t *LoadTest) speed() float64 {
	u := t.run()
	if u.in >= 2*time.Second && u.revs > 0 {
		return u.revs / u.in.Minutes()
	}
	return t.step().typical
}

func seconds(s float64) time.Duration {
	return time.Duration(min(s, math.MaxInt32) * float64(time.Second))
}

// cadence bounds the refresh of a car whose own is not known yet: no two refreshes can lie closer together than
// the period.
type cadence struct {
	revs   float64 // turned since the test began
	rises  int
	rose   float64 // revs when counters last rose
	seen   bool    // they did rise in this driving cycle
	period float64 // upper limit; 0 is none yet
}

// sameRise is within how many revolutions rises are taken for one refresh: the cylinders are read one after the other.
const sameRise = 60

func (c *cadence) add(past time.Duration, s *misfire.Summary) {
	if !s.Live.Running {
		c.seen = false
		return
	}
	c.revs += past.Minutes() * s.Live.RPM
	if s.Refresh.Rises <= c.rises {
		return
	}
	c.rises = s.Refresh.Rises
	apart := c.revs - c.rose
	if c.seen && apart < sameRise {
		return
	}
	if c.seen && (c.period == 0 || apart+sameRise < c.period) {
		c.period = apart + sameRise // the readings do not place a rise any finer
	}
	c.rose, c.seen = c.revs, true
}

// most is the longest that the period may be, in revolutions.
func (c *cadence) most() float64 {
	if c.period == 0 {
		return assumed
	}
	return min(c.period, assumed)
}
