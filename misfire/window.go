package misfire

import (
	"time"

	"stumble/misfire/engine"
)

// Window is a stretch of the drive between two refreshes of the counters, with the misses that the second one
// showed: the finest time that a miss can be placed in.
type Window struct {
	From, To  time.Time
	Stretches []Stretch // its monitored running by condition, in order of first appearance
	// Counted tells that the running between is known. What is not counted went to Summary.Unknown.
	Counted bool
	Counts  []WindowCount // of the cylinders whose counter was followed all through, in order
}

// Stretch is the running of one condition within a window.
type Stretch struct {
	Condition Condition
	Firings   float64 // of one cylinder
	Running   time.Duration
}

// WindowCount is by how much the counter of one cylinder rose.
type WindowCount struct {
	Cylinder, Misses int
	AtLeast          bool // the counter reached its end: there may have been more
}

// EachWindow has do called with every window from here on as it is closed. It is good until do returns. Windows
// are held while the refresh of the car is not yet known, and while later evidence may change the gear they ran in, so
// that they come late, and those that are still open come with Finish.
func (t *Tally) EachWindow(do func(*Window)) {
	var out Window
	t.relay.final = func(w *window) {
		out.fill(w, t.start)
		do(&out)
	}
}

// fill takes over a window of a drive that began at start.
func (o *Window) fill(w *window, start time.Time) {
	*o = Window{From: start.Add(seconds(w.from.sec)), To: start.Add(seconds(w.to.sec)), Counted: !w.broken,
		Stretches: o.Stretches[:0], Counts: o.Counts[:0]}
	for _, s := range w.running {
		o.Stretches = append(o.Stretches, Stretch{s.condition.condition(), s.firings, seconds(s.seconds)})
	}
	for i := range engine.MaxCylinders {
		if w.valid[i] {
			o.Counts = append(o.Counts, WindowCount{Cylinder: i + 1, Misses: w.misses[i], AtLeast: w.full[i]})
		}
	}
}
