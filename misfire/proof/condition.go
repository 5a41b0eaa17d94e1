package proof

import (
	"math"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Level is how finely the running of a condition was told apart.
type Level uint8

// Levels.
const (
	Fine      Level = iota // gear state, load band, rpm band and warm state
	WholeGear              // a gear state: its finer conditions before were each too thin to show the fault
	Frame                  // where a freeze frame was stored, in whatever gear
)

// Condition is one condition of one cylinder, before and after.
type Condition struct {
	Cylinder int
	Level    Level
	Where    misfire.Condition // Gear alone at WholeGear; nothing at Frame, which knows no gear
	Origin   gear.Origin       // the weaker of both sides
	Code     obd.Code          // that stored the freeze frame, at Frame
	At       Point             // where the drive before ran, or the frame was stored; what similar is reckoned from
	AfterAt  Point             // where the similar running after ran; NaN when there was none

	// Failing tells that the repair is judged here: the cylinder missed here before, beyond doubt, or a freeze
	// frame was stored here. Outcome, Proof and what follows are of failing conditions only.
	Failing bool

	// Before and After are the rates of what accuses, with limits: windows that lie within the condition. After
	// is of all similar running. Most is what a proof must do with: all similar running after, with every miss
	// that might belong to it.
	Before, After rate.Estimate
	Most          rate.Count
	Ratio         rate.Comparison // after over before

	// Pauses is how the misses before fall into bursts, and Phi the dispersion that goes with them.
	Pauses rate.Pauses
	Phi    float64

	Outcome Outcome
	// Least is the least rate, per 1,000 firings, that is still taken to be the fault's: what a proof must speak against.
	// FalseChance is how often a car that still missed so would come up so clean.
	Least, FalseChance float64
	Every              float64 // firings between two bursts before; NaN when unknown
	ToShow             float64 // firings after which the fault as it was would have shown, but for once in 20
	Unseen             float64 // how often the fault as it was would have come up so clean; NaN where it never ran before
	Missing            float64 // clean firings still to run; 0 when there are enough
	PerMiss            float64 // firings that each further miss adds to them
	RPM                float64 // engine speed behind Minutes: as driven after, or else before
	Minutes            float64 // running time of Missing

	after running
}

// comparer holds both sides while they are compared.
type comparer struct {
	in            Input
	tolerance     Tolerance
	ceiling       float64
	before, after side
}

// conditions is every condition in which a cylinder ran before: compared where similar running came after.
func (c *comparer) conditions(cylinder int) []Condition {
	before := c.before.lane(cylinder)
	var out []Condition
	var failing [gear.States]bool
	for _, r := range before.fine {
		if !(r.count.Firings > 0) {
			continue
		}
		cond := c.condition(cylinder, Fine, r)
		failing[r.where.Gear] = failing[r.where.Gear] || cond.Failing
		out = append(out, cond)
	}
	for _, r := range before.gears {
		if failing[r.where.Gear] {
			continue
		}
		if cond := c.condition(cylinder, WholeGear, r); cond.Failing {
			out = append(out, cond)
		}
	}
	return out
}

// fewestMisses is how many misses make a condition a failing one: a stray miss or two in a few seconds of
// running lie above any ceiling.
const fewestMisses = 3

// condition compares one condition's running with what came after like it.
func (c *comparer) condition(cylinder int, level Level, r running) Condition {
	cond := Condition{Cylinder: cylinder, Level: level, Where: r.where, Origin: r.origin, At: r.point}
	cond.pile(r)
	cond.Failing = r.count.Misses >= fewestMisses && c.failing(r, cond.Phi)
	c.hold(&cond, r.count)
	return cond
}

// failing tells whether a condition before showed the fault: beyond doubt above the ceiling, or in so few bursts that no
// limit lies above it, but far above what a healthy engine shows.
func (c *comparer) failing(r running, phi float64) bool {
	const far = 10 // times the ceiling
	e := rate.Interval(r.count.Misses, r.count.Firings, phi)
	return e.Above(c.ceiling) || e.Rate > far*c.ceiling
}

// pile sees how the misses of a condition fall into bursts. One without pauses that were followed is one burst.
func (c *Condition) pile(r running) {
	c.Pauses = rate.PausesOf(r.pauses.Closed(), r.uneven)
	if c.Pauses.Misses == 0 && r.count.Misses > 0 {
		c.Pauses = rate.Pauses{Misses: r.count.Misses, Firings: r.count.Firings, Bursts: 1, Mean: r.count.Misses, Longest: r.count.Firings}
	}
	c.Phi = math.Max(1, 2*c.Pauses.Mean-1) // of geometric bursts
	c.Before = estimate(r, c.Phi)
}

// frame compares the running after with where a freeze frame was stored.
func (c *comparer) frame(cylinder int, code obd.Code, at Point) Condition {
	cond := Condition{Cylinder: cylinder, Level: Frame, Code: code, At: at, Failing: true}
	r, _ := c.tolerance.like(c.before.lane(cylinder).fine, gear.Unknown, at)
	cond.Origin = r.origin
	cond.pile(r)
	c.hold(&cond, r.count)
	return cond
}

// hold sets the running after against that before.
func (c *comparer) hold(cond *Condition, before rate.Count) {
	level := c.after.lane(cond.Cylinder).fine
	if cond.Level == WholeGear {
		level = c.after.lane(cond.Cylinder).gears
	}
	after, any := c.tolerance.like(level, cond.Where.Gear, cond.At)
	cond.AfterAt = Point{math.NaN(), math.NaN(), WarmthUnknown}
	cond.RPM = cond.At.RPM
	cond.after = after
	if any {
		cond.AfterAt, cond.RPM = after.point, after.point.RPM
		cond.Origin = min(cond.Origin, after.origin)
	}
	cond.After, cond.Most = estimate(after, math.Max(cond.Phi, after.guard)), after.most
	cond.Ratio = rate.Compare(after.count, before, cond.Phi)
}
