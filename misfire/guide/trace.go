package guide

import (
	"math"
	"sort"
	"time"
)

// reading is one engine speed.
type reading struct {
	at  time.Time
	rpm float64
}

// trace is the engine's speed as it was read, in order of time.
type trace []reading

const (
	longestGap    = time.Second // between two readings of a window
	fewest        = 4           // readings of a window
	shortWindow   = 600 * time.Millisecond
	fewestInShort = 2
)

// between are the readings from a time up to another.
func (t trace) between(from, to time.Time) trace {
	first := sort.Search(len(t), func(i int) bool { return !t[i].at.Before(from) })
	last := sort.Search(len(t), func(i int) bool { return t[i].at.After(to) })
	if first > last {
		return nil
	}
	return t[first:last]
}

// mean is the mean speed of a window; NaN where too little of it was read.
func (t trace) mean(from, to time.Time) float64 {
	in := t.between(from, to)
	if len(in) < fewest || in[0].at.Sub(from) > longestGap || to.Sub(in[len(in)-1].at) > longestGap {
		return math.NaN()
	}
	sum := in[0].rpm
	for i := 1; i < len(in); i++ {
		if in[i].at.Sub(in[i-1].at) > longestGap {
			return math.NaN()
		}
		sum += in[i].rpm
	}
	return sum / float64(len(in))
}

// recent is the mean of the last moment up to a reading; NaN where the readings lie too far apart.
func (t trace) recent(last int) float64 {
	sum, n := 0.0, 0
	for i := last; i >= 0 && (t[last].at.Sub(t[i].at) <= shortWindow || n < fewestInShort); i-- {
		if i < last && t[i+1].at.Sub(t[i].at) > longestGap {
			break
		}
		sum += t[i].rpm
		n++
	}
	if n < fewestInShort {
		return math.NaN()
	}
	return sum / float64(n)
}

// unrest is by how much the mean of a moment strays within a stretch, as a standard deviation; 0 where it is not known.
func (t trace) unrest(from, to time.Time) float64 {
	middle := t.mean(from, to)
	first := sort.Search(len(t), func(i int) bool { return !t[i].at.Before(from) })
	sum, n := 0.0, 0
	for i := first; i < len(t) && !t[i].at.After(to); i++ {
		if v := t.recent(i); !math.IsNaN(v) && !math.IsNaN(middle) {
			sum += (v - middle) * (v - middle)
			n++
		}
	}
	if n < fewest {
		return 0
	}
	return math.Sqrt(sum / float64(n))
}
