package guide

import (
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// Fall is one measured fall, in rpm.
type Fall struct {
	Cylinder, Round int
	RPM             float64
}

// The windows of a fall, about the moment of the cut and that of working again. Choices: the fall itself takes about half
// a second, and idle control has put much of it back after three.
const (
	settle = 500 * time.Millisecond
	fast   = 2500 * time.Millisecond
)

// fall is how much a cylinder moves the idle: half the swing from the first seconds without it to the first seconds with
// it again, which is the mean of the fall below the idle and of the rise above it, once idle control has made up for the
// cylinder. NaN where too little was read.
func (t trace) fall(cut, back time.Time) float64 {
	without := t.mean(cut.Add(settle), cut.Add(settle+fast))
	with := t.mean(back.Add(settle), back.Add(settle+fast))
	return (with - without) / 2
}

// quiet is a stretch of idle in which nothing was cut.
type quiet struct{ from, to time.Time }

const (
	// trialEvery is how far apart the moments lie at which a fall is looked for where there is none.
	trialEvery = time.Second
	// trialLasts is how much of a stretch tells something of its own: falls measured closer together share most of
	// their readings. A choice; that limits built so hold 95 % is tested.
	trialLasts = settle + fast
)

// noise is how far a fall is off by chance.
type noise struct {
	deviation float64 // rpm
	freedom   float64 // of it; 0: not known
}

// chance looks for falls in quiet stretches, of cylinders that would have been off for a while. Where nothing was cut each
// should be nothing, so their mean square is the variance of a measured fall, the correlation of the readings among it.
func (t trace) chance(stretches []quiet, off time.Duration) noise {
	var sum float64
	var n int
	var span time.Duration
	for _, q := range stretches {
		last := q.to.Add(-off - settle - fast)
		if last.Before(q.from) {
			continue
		}
		span += last.Sub(q.from)
		for at := q.from; !at.After(last); at = at.Add(trialEvery) {
			if d := t.fall(at, at.Add(off)); !math.IsNaN(d) {
				sum += d * d
				n++
			}
		}
	}
	freedom := math.Floor(span.Seconds() / trialLasts.Seconds())
	if n == 0 || freedom < 1 {
		return noise{}
	}
	return noise{deviation: math.Sqrt(sum / float64(n)), freedom: freedom}
}

// margin is half the width of the 95 % limits of a mean of so many falls; +Inf where the noise is not known.
func (n noise) margin(falls int) float64 {
	if n.freedom < 1 || falls < 1 {
		return math.Inf(1)
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n.freedom}.Quantile(0.975)
	return t * n.deviation / math.Sqrt(float64(falls))
}
