package misfire

import "math"

// cadence finds out how a controller refreshes its counters, from where they rose. All counters of an engine
// rise together at a refresh, so the distances between rises are whole multiples of its period; if the
// counters move with each miss, the distances are anything.
//
// Each candidate period is weighed against "anything" by the logarithm of the likelihood ratio: a distance
// near a multiple speaks for it the more, the narrower the reading places it; one far from any multiple speaks
// strongly against. Constant memory, no allocation.
type cadence struct {
	scores [len(candidates)]float64
	told   [len(candidates)]int // distances that said anything about it
	open   span                 // refresh being narrowed down by the cylinders that rise at it
	last   span
	opened bool
	begun  bool
	rises  int
	gaps   int // distances weighed

	from   place // where the driving cycle, or what is known of it, began
	inside int   // rises since then with the engine running
	keyOff bool  // a cycle brought its misses only once the engine stood
}

// span is where a refresh lies, between two readings.
type span struct{ lo, hi place }

// overlaps reports whether a later rise may be of the same refresh.
func (s span) overlaps(r rise) bool { return r.lo.sec < s.hi.sec }

// narrow is what both leave of where the refresh lies.
func (s span) narrow(r rise) span {
	if r.lo.sec > s.lo.sec {
		s.lo = r.lo
	}
	if r.hi.sec < s.hi.sec {
		s.hi = r.hi
	}
	return s
}

func (s span) middle() place {
	return place{(s.lo.rev + s.hi.rev) / 2, (s.lo.sec + s.hi.sec) / 2}
}

// candidate is a way in which a car may refresh its counters.
type candidate struct {
	kind   RefreshKind
	period float64 // revolutions or seconds; 0 is at once, +Inf the whole driving cycle
	prior  float64 // log odds before anything is seen
}

// candidates are the periods looked for. The two regulatory blocks of 200 and 1000 revolutions are by far
// the likeliest (13 CCR 1968.2 (e)(3.2)); the rest is common practice, no source. A period in seconds and one
// in revolutions look alike at a steady idle, where revolutions are the better guess.
var candidates = [...]candidate{
	{RefreshRevolutions, 1000, 0}, {RefreshRevolutions, 500, -2}, {RefreshRevolutions, 400, -2},
	{RefreshRevolutions, 250, -3}, {RefreshRevolutions, 200, 0}, {RefreshRevolutions, 100, -2},
	{RefreshRevolutions, 50, -3},
	{RefreshRevolutions, 512, -4}, {RefreshRevolutions, 256, -4}, {RefreshRevolutions, 128, -4},
	{RefreshSeconds, 60, -3}, {RefreshSeconds, 30, -3}, {RefreshSeconds, 20, -3}, {RefreshSeconds, 10, -3},
	{RefreshSeconds, 5, -3}, {RefreshSeconds, 2, -3},
}

const (
	stray      = 0.02  // share of rises that do not fit a true period: a poll that came late
	drift      = 0.005 // relative error of revolutions summed from engine speed; for seconds too, to be fair
	jitter     = 0.01  // of a period: what a controller's own timing may vary
	sureScore  = 6.0   // log odds at which a period is taken
	doubtScore = -4.0  // best log odds under which there is none
	fewestGaps = 4     // distances needed to say there is none
	// longQuiet is how many revolutions without a rise, followed by one with the engine standing, tell a car
	// that refreshes only at key-off: three of the longest usual periods.
	longQuiet = 3000
)

// observe takes one rise seen with the engine running. Rises whose spans overlap are one refresh.
func (c *cadence) observe(r rise) {
	c.rises++
	c.inside++
	c.keyOff = false
	if c.opened && c.open.overlaps(r) {
		c.open = c.open.narrow(r)
		return
	}
	c.close()
	c.open, c.opened = span{r.lo, r.hi}, true
}

// stood takes one rise seen with the engine standing: the stop itself refreshed the counters, whatever the
// period is, so it tells no distance. If nothing had risen in long running, it is all the refresh there is.
func (c *cadence) stood(r rise) {
	c.rises++
	if c.inside == 0 && r.hi.rev-c.from.rev > longQuiet {
		c.keyOff = true
	}
}

// close ends the refresh being narrowed down and weighs its distance from the one before.
func (c *cadence) close() {
	if !c.opened {
		return
	}
	c.opened = false
	if c.begun {
		c.gaps++
		for i := range candidates {
			if score := candidates[i].weigh(c.last, c.open); score != 0 {
				c.scores[i] += score
				c.told[i]++
			}
		}
	}
	c.last, c.begun = c.open, true
}

// passed tells that every counter was read at p: no other cylinder will rise at an earlier refresh.
func (c *cadence) passed(p place) {
	if c.opened && p.sec >= c.open.hi.sec {
		c.close()
	}
}

// lose forgets where the last refresh was, as after running that nobody saw. What was learnt of the period
// stays.
func (c *cadence) lose() {
	c.close()
	c.begun = false
}

// restart begins a driving cycle at p.
func (c *cadence) restart(p place) {
	c.lose()
	c.from, c.inside = p, 0
}

// weigh is the log likelihood ratio of one distance: a multiple of the period against anything.
func (k candidate) weigh(a, b span) float64 {
	distance := k.axis(b.middle()) - k.axis(a.middle())
	blur := (k.axis(a.hi)-k.axis(a.lo))/2 + (k.axis(b.hi)-k.axis(b.lo))/2
	tolerance := blur/k.period + jitter + drift*distance/k.period
	share := 2 * tolerance // of all distances, those that would fit by chance
	if share >= 1 {
		return 0
	}
	off := distance / k.period
	off = math.Abs(off - math.Round(off))
	if off > tolerance || distance < k.period/2 {
		return math.Log(stray)
	}
	return math.Log((1 - stray) / share)
}

// axis is a place on the axis that the refreshes follow.
func (k candidate) axis(p place) float64 {
	if k.kind == RefreshSeconds {
		return p.sec
	}
	return p.rev
}

// best is the likeliest candidate with its log odds.
func (c *cadence) best() (candidate, float64) {
	best, top := candidates[0], math.Inf(-1)
	for i, k := range candidates {
		if s := c.scores[i] + k.prior; s > top {
			best, top = k, s
		}
	}
	return best, top
}

// none reports whether all candidates are less likely than the given log odds. Periods so short that the
// readings hardly ever part them from "at once" need not be ruled out: they come to the same.
func (c *cadence) none(odds float64, gaps int) bool {
	for i, k := range candidates {
		if c.scores[i]+k.prior > odds && (c.told[i] >= gaps || 2*c.told[i] > c.gaps) {
			return false
		}
	}
	return c.gaps >= gaps
}

// finding is what is known of the cadence.
func (c *cadence) finding() Refresh {
	best, score := c.best()
	f := Refresh{Rises: c.rises}
	switch {
	case score >= sureScore && best.kind == RefreshSeconds:
		f.Kind, f.Seconds = RefreshSeconds, best.period
	case score >= sureScore:
		f.Kind, f.Revolutions = RefreshRevolutions, best.period
	case c.keyOff:
		f.Kind = RefreshKeyOff
	case c.none(doubtScore, fewestGaps):
		f.Kind = RefreshAtOnce
	}
	return f
}

// guess is the likeliest cadence while none is sure.
func (c *cadence) guess() candidate {
	const likely = 2.0
	best, score := c.best()
	switch {
	case score >= likely:
		return best
	case c.none(doubtScore/2, 2):
		return candidate{kind: RefreshAtOnce}
	}
	return assumed
}

// forNow is the guess by which what has run is looked at. A counter that is read and never rose shows that nothing was
// missed, as far as it has been shown: all of that running counts, though the last of it may not have been shown yet.
func (c *cadence) forNow() candidate {
	if c.rises == 0 {
		return candidate{kind: RefreshAtOnce}
	}
	return c.guess()
}

// candidate is the finding as the ledger takes it.
func (r Refresh) candidate() candidate {
	if r.Kind == RefreshKeyOff {
		return candidate{kind: r.Kind, period: math.Inf(1)}
	}
	return candidate{kind: r.Kind, period: r.Revolutions + r.Seconds} // one of the two is 0, or both
}
