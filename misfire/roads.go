package misfire

import (
	"math"

	"stumble/misfire/engine"
	"stumble/obd"
)

// road is where a car tells its counts. On most cars there is one, test 0C, and the standard says what it is. On a car of
// SAE J1979-2 the counts hang on the cylinders' codes, as results that do not say what they count: this driving cycle, or
// the average of the last ten, which moves only while the engine stands. A car of the change-over years may tell them in
// both ways, and keep only one of them up to date. So each road is followed by itself, and that is counted which moves
// first while the engine runs.
type road uint8

const (
	roadTests  road = iota // test 0C
	roadRecord             // the first result of a code's record; the others are the roads after it
	mostRoads  = roadRecord + 4
)

// roadOf is the road of a reading of a count, false where there is no place to follow it.
func roadOf(r *obd.Reading) (road, bool) {
	if r.Service != obd.CodeData {
		return roadTests, true
	}
	return roadRecord + road(r.Part), r.Part < byte(mostRoads-roadRecord)
}

// roads are the roads that a car's counts may be told by. The lanes of the one that is taken are the tally's own.
type roads struct {
	taken  road
	known  bool // one is taken
	moved  bool // it has, while the engine ran: it is the one
	heard  [mostRoads]bool
	others [mostRoads][engine.MaxCylinders]lane // of those not taken
}

// certain reports whether the road taken tells what it is: by the standard, because it moved, or for want of another.
func (r *roads) certain() bool {
	if r.taken == roadTests || r.moved {
		return true
	}
	n := 0
	for _, heard := range r.heard {
		if heard {
			n++
		}
	}
	return n == 1
}

// drop forgets the baselines of the roads that are not taken.
func (r *roads) drop() {
	for i := range r.others {
		for k := range r.others[i] {
			r.others[i][k].dropBaseline()
		}
	}
}

// giveUp forgets those that were not read for long; running is the seconds of it so far.
func (r *roads) giveUp(running float64) {
	for i := range r.others {
		for k := range r.others[i] {
			if l := &r.others[i][k]; l.based && running-l.ran > silentAfter {
				l.dropBaseline()
			}
		}
	}
}

// onRoad reports whether a reading of a counter is of the road that is taken. Others are followed beside it.
func (t *Tally) onRoad(e *event, p place) bool {
	r := &t.roads
	r.heard[e.road] = true
	if !r.known {
		r.taken, r.known = e.road, true
	}
	if e.road == r.taken {
		return true
	}
	l := &r.others[e.road][e.cylinder]
	settled := e.at-t.runningFrom >= baselineSettles
	found, is := l.add(e.value, p, t.mayHaveFired(), settled)
	if is == restarted {
		l.dropBaseline()
		found, is = l.add(e.value, p, t.mayHaveFired(), settled)
	}
	l.ran = t.running
	if is == rose && !r.moved && t.ranAt(found) {
		t.takeRoad(e.road)
		r.moved = true
		t.enterRise(e.cylinder, found)
	}
	return false
}

// ranAt reports whether the engine ran when a counter rose.
func (t *Tally) ranAt(r rise) bool { return !math.IsInf(t.runningFrom, 1) || r.hi.sec < t.stoppedAt }

// takeRoad counts by another road from where its own counters were followed.
func (t *Tally) takeRoad(to road) {
	r := &t.roads
	from := t.lanes
	t.lanes = r.others[to]
	for i := range t.lanes {
		t.lanes[i].reported = t.lanes[i].reported || from[i].reported
		t.lanes[i].aside += from[i].aside
		from[i].held = rise{}
	}
	r.others[r.taken], r.taken = from, to
}
