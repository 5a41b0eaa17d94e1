package proof

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Side is one state of repair as it was driven: before the work, or after.
type Side struct {
	VIN    string             // of the car driven; empty when not known
	Drives []*misfire.Summary // one or more, put together condition by condition
	Codes  *obd.CodeReport    // read at that time; nil when not read
	Cycles *Progress          // driving and warm-up cycles followed; nil when not followed
}

// Input is what is compared.
type Input struct {
	Before, After Side
	Strict        bool    // load within 10 points instead of 20
	Ceiling       float64 // rate per 1,000 firings up to which a cylinder is healthy; 0 is [rate.Ceiling]
}

func (in Input) ceiling() float64 {
	if in.Ceiling > 0 {
		return in.Ceiling
	}
	return rate.Ceiling
}

// check refuses what cannot be compared, one line each.
func (in Input) check() error {
	if in.Ceiling < 0 || in.Ceiling >= 1000 || math.IsNaN(in.Ceiling) {
		return fmt.Errorf("a ceiling of %v per 1,000 firings cannot be: give one above 0 and under 1000", in.Ceiling)
	}
	if err := in.Before.check("before"); err != nil {
		return err
	}
	if err := in.After.check("after"); err != nil {
		return err
	}
	if b, a := in.Before.VIN, in.After.VIN; b != "" && a != "" && b != a {
		return fmt.Errorf("the drives are of two cars (VIN %s before, %s after): choose two drives of one car", b, a)
	}
	return agree(in.Before.Drives[0], in.After.Drives[0], "before", "after")
}

func (s Side) check(when string) error {
	if len(s.Drives) == 0 || slices.Contains(s.Drives, nil) {
		return fmt.Errorf("no drive %s was given: name one to compare", when)
	}
	counted := false
	for _, d := range s.Drives {
		if err := agree(s.Drives[0], d, "one drive "+when, "another"); err != nil {
			return err
		}
		for _, c := range d.Total {
			counted = counted || c.Reported && c.Firings > 0
		}
	}
	if !counted {
		return fmt.Errorf("the drive %s holds no misfire counts of a running engine: record one on a car that counts misses by cylinder, for longer", when)
	}
	return nil
}

// agree reports whether two drives tell of the same engine.
func agree(a, b *misfire.Summary, nameA, nameB string) error {
	if a.Engine.Cylinders != b.Engine.Cylinders {
		return fmt.Errorf("the engines disagree: %d cylinders in %s, %d in %s: set the right layout on both", a.Engine.Cylinders, nameA, b.Engine.Cylinders, nameB)
	}
	if x, y := a.Engine.FiringOrder, b.Engine.FiringOrder; len(x) > 0 && len(y) > 0 && !slices.Equal(x, y) {
		return fmt.Errorf("the engines disagree: firing order %v in %s, %v in %s: set the right layout on both", x, nameA, y, nameB)
	}
	for monitor := 1; monitor <= a.Engine.Cylinders; monitor++ {
		if cylinderAt(a, monitor) != cylinderAt(b, monitor) {
			return errors.New("the cylinder maps of the drives disagree: look at both with the same map")
		}
	}
	return nil
}

// cylinderAt is the cylinder that a monitor means in a drive; a drive without a map has the standard's.
func cylinderAt(s *misfire.Summary, monitor int) int {
	if s.Map.Len() == 0 {
		return monitor
	}
	return s.Map.Cylinder(monitor)
}

// side is a Side put together: what decides, by cylinder.
type side struct {
	cylinders []lane
}

// lane is one cylinder's running.
type lane struct {
	reported bool
	fine     []running // by condition
	gears    []running // by gear state
}

// running is what was counted of one cylinder in one condition.
//
// A window that spans two conditions and saw no miss is known to hold none in either; one that saw misses is
// not known to hold them in this one. Leaving both kinds out is fair, and so is taking both in; taking in the
// clean ones alone is not. On a car that misses no more nearly all windows may be of the clean kind, for how
// often it refreshes its counters cannot be seen any more.
type running struct {
	where   misfire.Condition
	origin  gear.Origin
	point   Point
	alone   rate.Count      // of windows within the condition: fit to hold cylinders against each other
	count   rate.Count      // what accuses: those, and clean mixed windows where there is no other kind
	most    rate.Count      // what acquits: all windows, with a whole miss for each one begun by the estimated share
	pauses  rate.PauseTally // between the misses of windows within the condition
	windows int             // of them
	uneven  float64         // dispersion of their misses, see [misfire.Cell]
	guard   float64         // what evidence of them is divided by
	atLeast bool
}

func (s Side) collect() side {
	out := side{cylinders: make([]lane, s.Drives[0].Engine.Cylinders)}
	for _, d := range s.Drives {
		for _, c := range d.Total {
			if l := out.lane(c.Cylinder); l != nil {
				l.reported = l.reported || c.Reported
			}
		}
		doubt := inDoubt(d, d.Cells)
		for i := range d.Cells {
			c := &d.Cells[i]
			if l := out.lane(c.Cylinder); l != nil {
				l.fine = enter(l.fine, c, warmth(c.Condition.Warm), doubt[c.Cylinder])
			}
		}
		doubt = inDoubt(d, d.ByGear)
		for i := range d.ByGear {
			c := &d.ByGear[i]
			if l := out.lane(c.Cylinder); l != nil {
				l.gears = enter(l.gears, c, mostly(d.Cells, c), doubt[c.Cylinder])
			}
		}
	}
	return out
}

func (s *side) lane(cylinder int) *lane {
	if cylinder < 1 || cylinder > len(s.cylinders) {
		return nil
	}
	return &s.cylinders[cylinder-1]
}

// mostly is how warm most of the running of a gear state was.
func mostly(cells []misfire.Cell, g *misfire.Cell) Warmth {
	var warm, cold float64
	for i := range cells {
		c := &cells[i]
		if c.Cylinder != g.Cylinder || c.Condition.Gear != g.Condition.Gear {
			continue
		}
		if c.Condition.Warm {
			warm += c.Running.Seconds()
		} else {
			cold += c.Running.Seconds()
		}
	}
	if warm+cold == 0 {
		return WarmthUnknown
	}
	return warmth(warm >= cold)
}

// inDoubt is each cylinder's misses that no condition is known to hold.
func inDoubt(d *misfire.Summary, cells []misfire.Cell) map[int]float64 {
	doubt := make(map[int]float64, len(d.Total))
	for _, c := range d.Total {
		doubt[c.Cylinder] = c.Misses
	}
	for i := range cells {
		doubt[cells[i].Cylinder] -= cells[i].Decides.Misses
	}
	for cylinder, misses := range doubt {
		doubt[cylinder] = math.Max(0, misses)
	}
	return doubt
}

// enter puts a cell to the running of its condition. doubt is the misses that it might hold besides its own: it
// is charged with its likeliest share of them, rounded up. That share leans towards conditions that seldom ran.
func enter(all []running, c *misfire.Cell, w Warmth, doubt float64) []running {
	if !c.Reported || !possible(c.Firings) || c.Firings == 0 || !possible(c.Decides.Firings) || !possible(c.Decides.Misses) {
		return all
	}
	r := running{where: c.Condition, origin: c.Origin, point: Point{c.RPM, c.Load, w}, alone: c.Decides, count: c.Decides,
		windows: c.Windows, uneven: bounded(c.Uneven), guard: bounded(c.Guard), atLeast: c.AtLeast}
	if c.Pauses != nil {
		r.pauses = *c.Pauses
	} else {
		r.pauses.Add(0, c.Decides.Firings)
	}
	r.most = rate.Count{Misses: c.Decides.Misses, Firings: c.Firings}
	if c.Mixed > 0 {
		const begun = 0.05 // of a miss; less is the rounding of an estimate
		r.most.Misses += math.Min(doubt, math.Ceil(math.Max(0, c.Misses-c.Decides.Misses-begun)))
	} else {
		r.count = r.most
	}
	for i := range all {
		if all[i].where == r.where {
			all[i] = all[i].plus(r)
			return all
		}
	}
	return append(all, r)
}

// bounded is a dispersion, at least 1, of whatever a cell holds.
func bounded(v float64) float64 {
	if !(v > 1) || math.IsInf(v, 1) {
		return 1
	}
	return v
}

// possible tells that a number can be a count.
func possible(v float64) bool { return v >= 0 && !math.IsInf(v, 1) }

// plus puts two drives' running of one condition together.
func (r running) plus(o running) running {
	mine, other := r.most.Firings, o.most.Firings
	r.point.RPM = (r.point.RPM*mine + o.point.RPM*other) / (mine + other)
	r.point.Load = (r.point.Load*mine + o.point.Load*other) / (mine + other)
	if other > mine {
		r.point.Warm = o.point.Warm
	}
	r.origin = min(r.origin, o.origin)
	add(&r.alone, o.alone)
	add(&r.count, o.count)
	add(&r.most, o.most)
	r.pauses, r.windows = r.pauses.Plus(o.pauses), r.windows+o.windows
	r.uneven, r.guard = math.Max(r.uneven, o.uneven), math.Max(r.guard, o.guard)
	r.atLeast = r.atLeast || o.atLeast
	return r
}

// like is all of a level's running that is similar to a condition's: in its gear state, or in any for gear.Unknown. At rest
// Drive and Reverse are one: the box loads the engine alike.
func (t Tolerance) like(level []running, state gear.State, at Point) (found running, any bool) {
	for _, r := range level {
		if state != gear.Unknown && r.where.Gear != state && !(r.where.Gear.Loaded() && state.Loaded()) || !t.Similar(at, r.point) {
			continue
		}
		if !any {
			found, any = r, true
			continue
		}
		found = found.plus(r)
	}
	return found, any
}
