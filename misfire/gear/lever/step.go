package lever

import "math"

// A step is the difference of two medians with a gap between them, in ticks.
const (
	beforeTicks = 8 // 1.6 s
	gapTicks    = 6 // 1.2 s: the box takes up in 0.3 to 0.8 s
	afterTicks  = 7 // 1.4 s
	window      = beforeTicks + gapTicks + afterTicks
)

const (
	leastStep    = 1.8 // points of load
	noiseFactor  = 4.0
	leastNoise   = 0.2   // points
	noisePace    = 0.02  // points a tick
	wildRPM      = 130.0 // rpm, in the first wildFor s of a rest: the flare of a start, or a stop settling
	wildestRPM   = 300.0 // rpm: at no time does a lever or an accessory move the idle so far
	wildFor      = 6.0
	pulse        = 3.6  // s: what goes back within is steering, not a lever
	lastingRPM   = 40.0 // rpm: a pulse that leaves the idle changed by so much was two things at once
	rampFor      = 1.6  // s from a fifth to four fifths of a step that was no sharp one
	rampShare    = 0.6  // of the change over 8 s; less, and the step was a part of a ramp
	longHump     = 22   // ticks that a difference stays in sight; a sharp step does for some 13
	reconsiderAt = 4.2  // s after a step
)

// finder finds each step once, where the difference is greatest.
type finder struct {
	noise float64
	on    bool
	muted bool
	sign  float64
	ticks int // since the difference came in sight
	best  step
	start level // before the difference came in sight
}

// look takes the trace after a tick and gives a step when one is complete.
func (d *finder) look(t *trail, idle bool) (step, bool) {
	if !idle {
		return d.end(t, false)
	}
	s := measure(t)
	d.noise += min(max(t.spread(window-beforeTicks, window-1, load)-d.noise, -noisePace), noisePace)
	d.noise = max(d.noise, leastNoise)
	size := math.Abs(s.load)
	sign := math.Copysign(1, s.load)
	switch {
	case size < max(leastStep, noiseFactor*d.noise) || d.on && sign != d.sign:
		return d.end(t, true)
	case d.muted && sign == d.sign:
		return step{}, false
	case !d.on:
		*d = finder{noise: d.noise, on: true, sign: sign, best: s, start: s.before}
	case size > math.Abs(d.best.load):
		d.best = s
	}
	d.ticks++
	if size < 0.7*math.Abs(d.best.load) && d.ticks <= longHump {
		d.on, d.muted = false, true
		return d.best.centred(t), true
	}
	return step{}, false
}

// end gives the step that was in sight.
func (d *finder) end(t *trail, idle bool) (step, bool) {
	found, was := d.best, d.on
	if was && idle && d.ticks > longHump {
		found.after = t.levelOf(0, afterTicks-1)
		found.before = d.start
		found.load, found.rpm = found.after.load-found.before.load, found.after.rpm-found.before.rpm
		found.ramp, found.until = true, t.back(afterTicks).at
	}
	if was && !found.ramp {
		found = found.centred(t)
	}
	*d = finder{noise: d.noise}
	return found, was
}

// centred takes the levels beside the date of the step: where the difference is greatest, speed may have moved already,
// which goes ahead of the load.
func (s step) centred(t *trail) step {
	const clear = 3 // ticks before the date
	since := int(math.Round((t.back(0).at - s.at) / Period))
	newest := max(since-gapTicks-afterTicks, 0)
	if since < gapTicks || !t.quiet(newest, since+clear+beforeTicks-1) {
		return s
	}
	s.before, s.after = t.levelOf(since+clear, since+clear+beforeTicks-1), t.levelOf(newest, newest+afterTicks-1)
	s.load, s.rpm = s.after.load-s.before.load, s.after.rpm-s.before.rpm
	return s
}

// measure is the step between the oldest and the newest ticks of the window.
func measure(t *trail) step {
	const last = window - 1
	s := step{
		before: t.levelOf(window-beforeTicks, last),
		after:  t.levelOf(0, afterTicks-1),
		sag:    t.median(window-beforeTicks, last, volts) - t.median(0, afterTicks-1, volts),
	}
	if noise := t.spread(window-beforeTicks, last, volts); !(math.Abs(s.sag) > noiseFactor*noise) {
		s.sag = 0
	}
	s.load, s.rpm = s.after.load-s.before.load, s.after.rpm-s.before.rpm
	return s.dated(t)
}

// dated tells when the step began and how long it took.
func (s step) dated(t *trail) step {
	s.at = t.back(afterTicks).at
	fifth, most := math.NaN(), math.NaN()
	found := false
	for i := window - 4; i >= 0; i-- {
		k := t.back(i)
		part := (k.Load - s.before.load) / s.load
		if !found && part >= 0.25 {
			s.at, found = k.at, true
		}
		if math.IsNaN(fifth) && part >= 0.2 {
			fifth = k.at
		}
		if math.IsNaN(most) && part >= 0.8 {
			most = k.at
		}
	}
	s.until = s.at
	if most-fifth > rampFor {
		s.ramp, s.until = true, most
	}
	return s
}

// enter puts a step to the open rest, unless it is none of its own.
func (f *follower) enter(r *rest, s step) {
	if s.at-r.from < settles || math.Abs(s.rpm) > wildRPM && s.at-r.from < wildFor {
		return
	}
	if math.IsNaN(s.load) || math.IsNaN(s.rpm) || math.Abs(s.rpm) > wildestRPM {
		return
	}
	f.news = true
	n := len(r.steps)
	if n == 0 || r.steps[n-1].sort != stepped || s.at-r.steps[n-1].at > pulse || s.load*r.steps[n-1].load > 0 {
		r.steps = append(r.steps, s)
		return
	}
	last := &r.steps[n-1]
	net, rpm := s.after.load-last.before.load, s.after.rpm-last.before.rpm
	if math.Abs(net) < max(leastStep, noiseFactor*f.finder.noise) && math.Abs(rpm) < lastingRPM {
		r.steps = r.steps[:n-1]
		return
	}
	last.load, last.rpm, last.after = net, rpm, s.after
	last.mixed = math.Abs(net) < leastStep
}

// reconsider tells a ramp that was taken for a step, once its surroundings are known.
func (f *follower) reconsider(r *rest) {
	const wide, from = 20, 2 // ticks
	n := len(r.steps)
	if n == 0 || r.steps[n-1].sort != stepped || r.steps[n-1].ramp {
		return
	}
	s := &r.steps[n-1]
	since := f.back(0).at - s.at
	if since < reconsiderAt || since >= reconsiderAt+Period || !f.idleFor(2*wide) {
		return
	}
	change := f.median(0, 4, load) - f.median(2*wide-from, 2*wide+from, load)
	if s.load/change > 0 && math.Abs(s.load) < rampShare*math.Abs(change) {
		s.ramp, s.until, f.news = true, f.back(0).at, true
	}
}
