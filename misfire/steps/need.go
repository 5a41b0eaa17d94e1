package steps

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
func (r *Runner) needed() need {
	worst, phi := suspect(r.now)
	if worst == 0 {
		worst, phi = r.cfg.Known.Rate, r.cfg.Known.Phi
	}
	if worst == 0 {
		worst, phi = leastRate, 1
	}
	return need{firings: rate.ToSeeOnce(worst/1000, unseen, phi), rate: worst, misses: r.inGear()}
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
func (r *Runner) inGear() []float64 {
	misses := make([]float64, len(r.now.Total))
	for i := range r.now.ByGear {
		c := &r.now.ByGear[i]
		if c.Condition.Gear == r.step().Gear && c.Cylinder <= len(misses) {
			misses[c.Cylinder-1] = c.Misses
		}
	}
	return misses
}

// shown reports whether the fault has shown in this step beyond doubt.
func (r *Runner) shown() bool {
	before := r.run().need.misses
	for i, m := range r.inGear() {
		if i < len(before) {
			m -= before[i]
		}
		if m >= enough {
			return true
		}
	}
	return false
}

// counts reports whether the car counts misses at all.
func counts(s *misfire.Summary) bool {
	for i := range s.Total {
		if s.Total[i].Reported {
			return true
		}
	}
	return false
}

// target is the firings that the present step runs for; 0 where they decide nothing.
func (r *Runner) target() float64 {
	if !counts(r.now) || r.shown() {
		return 0
	}
	return r.run().need.firings
}

// left is how long the present step still takes at the engine speed seen, the rests of a pull among it.
func (r *Runner) left() time.Duration {
	s, u := r.step(), r.run()
	left := s.Least - u.in
	if counts(r.now) {
		toMost := s.Most - u.in
		left = max(left, min(r.turning(2*(r.target()-u.firings())), toMost))
		refresh, known := r.toRefresh()
		if !known || s.Burst > 0 {
			refresh = min(refresh, toMost)
		}
		left = max(left, refresh)
	}
	if left = max(left, 0); s.Burst > 0 {
		left += r.resting(left)
	}
	return left
}

// resting is the rests that still lie between bursts.
func (r *Runner) resting(left time.Duration) time.Duration {
	s, u := r.step(), r.run()
	if r.ask == AskRest {
		return max(s.Rest-r.last.Sub(r.since), 0) + time.Duration((max(left, 1)-1)/s.Burst)*s.Rest
	}
	return time.Duration((max(left+u.burst, 1)-1)/s.Burst) * s.Rest
}

// toRefresh is how long it takes until enough refreshes lie within the step.
func (r *Runner) toRefresh() (left time.Duration, known bool) {
	u := r.run()
	f := r.refresh()
	switch {
	case f.Kind == misfire.RefreshKeyOff:
		return 0, true
	case r.cfg.KeyOff:
		return r.turning(unmistaken - u.revs), true
	}
	switch f.Kind {
	case misfire.RefreshSeconds:
		return seconds(refreshes*f.Seconds) - u.in, true
	case misfire.RefreshRevolutions:
		return r.turning(refreshes*f.Revolutions - u.revs), true
	case misfire.RefreshUnknown:
		return r.turning(refreshes*r.cadence.most() - u.revs), false
	}
	return 0, true
}

// toLast is how long the engine still idles until what the last step's misses are shown for sure: one refresh more.
func (r *Runner) toLast() time.Duration {
	if r.keyOff() || !counts(r.now) || !r.now.Live.Running {
		return 0
	}
	var period float64
	switch f := r.refresh(); f.Kind {
	case misfire.RefreshSeconds:
		return seconds(f.Seconds) + readTime - r.last.Sub(r.ended)
	case misfire.RefreshRevolutions:
		period = f.Revolutions
	case misfire.RefreshUnknown:
		period = r.cadence.most()
	}
	return seconds(60 * (period + readTime.Minutes()*idle - (r.cadence.revs - r.turned)) / idle)
}

const (
	idle     = 750             // rpm, as is usual
	readTime = 3 * time.Second // a round of readings of all cylinders, and more
)

// keyOff reports whether each step is a driving cycle of its own.
func (r *Runner) keyOff() bool {
	return r.cfg.KeyOff || r.now != nil && r.refresh().Kind == misfire.RefreshKeyOff
}

// refresh is how the counters move: as this drive found, else as was known.
func (r *Runner) refresh() misfire.Refresh {
	if r.now.Refresh.Kind == misfire.RefreshUnknown {
		return r.cfg.Known.Refresh
	}
	return r.now.Refresh
}

// turning is how long so many revolutions take at the step's engine speed.
func (r *Runner) turning(revs float64) time.Duration {
	return seconds(60 * max(revs, 0) / r.speed())
}

// speed is the engine speed of the step: as seen in it, once there is enough of it.
func (r *Runner) speed() float64 {
	u := r.run()
	if u.in >= 2*time.Second && u.revs > 0 {
		return u.revs / u.in.Minutes()
	}
	return r.step().typical
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
