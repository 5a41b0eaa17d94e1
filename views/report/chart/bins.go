package chart

import (
	"time"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
)

// bin is some seconds of a drive that are drawn as one.
type bin struct {
	seconds   int // that were recorded; 0 where nothing was
	inGear    [gear.States]int
	notJudged int // seconds that the controller may not have judged
	rpm, load spread
	misses    [engine.MaxCylinders]int
}

// spread is the least, the mean and the most of what was read.
type spread struct {
	low, high, sum float64
	n              int
}

func (s *spread) add(v float64) {
	if !known(v) {
		return
	}
	if s.n == 0 {
		s.low, s.high = v, v
	}
	s.low, s.high = min(s.low, v), max(s.high, v)
	s.sum += v
	s.n++
}

func (s *spread) mean() float64 { return s.sum / float64(s.n) }

// gear is the state that the bin was in for most of its time.
func (b *bin) gear() gear.State {
	best := gear.Unknown
	for s := range gear.State(len(b.inGear)) {
		if b.inGear[s] > b.inGear[best] {
			best = s
		}
	}
	return best
}

// thin gathers a drive in at most so many bins of equal length, of whole seconds. Every second is in one: nothing is
// left out of a long drive, it is only drawn closer.
func thin(moments []misfire.Moment, most int) (bins []bin, start time.Time, each time.Duration) {
	start, end := moments[0].At, moments[0].At
	for i := range moments {
		if at := moments[i].At; at.Before(start) {
			start = at
		} else if at.After(end) {
			end = at
		}
	}
	seconds := int(end.Sub(start)/time.Second) + 1
	per := (seconds + most - 1) / most
	bins = make([]bin, (seconds+per-1)/per)
	for i := range moments {
		bins[int(moments[i].At.Sub(start)/time.Second)/per].add(&moments[i])
	}
	return bins, start, time.Duration(per) * time.Second
}

func (b *bin) add(m *misfire.Moment) {
	b.seconds++
	if int(m.Gear) < len(b.inGear) {
		b.inGear[m.Gear]++
	}
	if m.Unmonitored {
		b.notJudged++
	}
	b.rpm.add(m.RPM)
	b.load.add(m.Load)
	for i, n := range m.Misses {
		b.misses[i] += int(n)
	}
}

// runs gives the stretches of bins for which something holds, as first and one past the last.
func runs(bins []bin, holds func(*bin) bool) (found [][2]int) {
	for i := range bins {
		switch last := len(found) - 1; {
		case !holds(&bins[i]):
		case last >= 0 && found[last][1] == i:
			found[last][1]++
		default:
			found = append(found, [2]int{i, i + 1})
		}
	}
	return found
}
