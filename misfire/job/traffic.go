package job

import "time"

// traffic counts exchanges, and measures how many there are a second of late.
type traffic struct {
	times [64]time.Time
	n     int
}

func (t *traffic) add(at time.Time) {
	t.times[t.n%len(t.times)] = at
	t.n++
}

// perSecond is the pace of late, NaN while there is too little to tell.
func (t *traffic) perSecond() float64 {
	kept := min(t.n, len(t.times))
	if kept < 2 {
		return unknown()
	}
	first, last := t.times[(t.n-kept)%len(t.times)], t.times[(t.n-1)%len(t.times)]
	if d := last.Sub(first).Seconds(); d > 0 {
		return float64(kept-1) / d
	}
	return unknown()
}
