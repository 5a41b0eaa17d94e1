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
	Phi           float64         // dispersion of the fault, from before
	PhiFrom       Bursts          // whose it is
	Bursty        bool            // the misses before came in bursts, beyond chance
	Ratio         rate.Comparison // after over before

	Outcome     Outcome
	Proof       rate.Proof // the line to cross
	FalseChance float64    // how often a car still missing once in 1/Proof.R0 firings would come up so clean
	Every       float64    // firings between two bursts before (between misses, without bursts); NaN when unknown
	Quiet       float64    // longest stretch without a miss before, in firings
	QuietKnown  bool       // it was followed, not estimated
	Missing     float64    // clean firings still to run; 0 when there are enough
	PerMiss     float64    // firings that each further miss adds to them
	RPM         float64    // engine speed behind Minutes: as driven after, or else before
	Minutes     float64    // running time of Missing
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
	cond := Condition{Cylinder: cylinder, Level: level, Where: r.where, Origin: r.origin, At: r.point, Bursty: r.bursts}
	cond.Phi, cond.PhiFrom = c.before.lane(cylinder).dispersion(r)
	cond.Before = estimate(r, cond.Phi)
	cond.Failing = cond.Before.Above(c.ceiling) && r.count.Misses >= fewestMisses
	c.hold(&cond, r.count)
	return cond
}

// frame compares the running after with where a freeze frame was stored.
func (c *comparer) frame(cylinder int, code obd.Code, at Point) Condition {
	cond := Condition{Cylinder: cylinder, Level: Frame, Code: code, At: at, Failing: true}
	r, _ := c.tolerance.like(c.before.lane(cylinder).fine, gear.Unknown, at)
	cond.Origin, cond.Bursty = r.origin, r.bursts
	cond.Phi, cond.PhiFrom = c.before.lane(cylinder).dispersion(r)
	cond.Before = estimate(r, cond.Phi)
	c.hold(&cond, r.count)
	return cond
}

// hold sets the running after against that before and judges it.
func (c *comparer) hold(cond *Condition, before rate.Count) {
	level := c.after.lane(cond.Cylinder).fine
	if cond.Level == WholeGear {
		level = c.after.lane(cond.Cylinder).gears
	}
	after, any := c.tolerance.like(level, cond.Where.Gear, cond.At)
	cond.AfterAt = Point{math.NaN(), math.NaN(), WarmthUnknown}
	cond.RPM = cond.At.RPM
	phi := cond.Phi
	if any {
		cond.AfterAt, cond.RPM = after.point, after.point.RPM
		cond.Origin = min(cond.Origin, after.origin)
		phi = phiAfter(cond, after)
	}
	cond.After, cond.Most = estimate(after, phi), after.most
	cond.Ratio = rate.Compare(after.count, before, phi)
	if cond.Failing {
		c.judge(cond, before, after)
	}
}

// phiAfter is the dispersion of the running after: that of the fault, or its own where that is larger or the
// only one known.
func phiAfter(cond *Condition, after running) float64 {
	switch {
	case after.judged && cond.PhiFrom == BurstsUnjudged:
		return after.phi
	case after.judged:
		return math.Max(cond.Phi, after.phi)
	}
	return cond.Phi
}

// judge draws the line and says on which side of it the running after is.
func (c *comparer) judge(cond *Condition, before rate.Count, after running) {
	line := cond.Before
	line.Phi = cond.Phi
	cond.Proof = rate.NewProof(line, c.ceiling)
	cond.FalseChance = cond.Proof.FalseChance(after.most)
	cond.PerMiss = cond.Proof.Needed(1) - cond.Proof.Needed(0)
	c.quiet(cond, before)
	cond.Missing = math.Max(cond.Proof.Missing(after.most), fiveQuiet*cond.Quiet-after.most.Firings)
	cond.Missing = math.Max(0, cond.Missing)
	cond.Minutes = rate.Minutes(cond.Missing, cond.RPM)
	cond.Outcome = c.outcome(cond, before, after)
}

// outcome is the verdict on one failing condition (statistics of the proof: see package rate).
func (c *comparer) outcome(cond *Condition, before rate.Count, after running) Outcome {
	judged := cond.PhiFrom != BurstsUnjudged
	if stillThere(cond.After, after.count, c.ceiling, 1) && (judged || after.judged) {
		switch {
		case cond.Ratio.High > 0.5:
			return StillMissing
		case cond.Ratio.Less < 0.05 && judged:
			return Improved
		}
		return NotYet
	}
	// A frame from where the drive before never ran has nothing to be lower than.
	lower := before.Firings == 0 || rate.Compare(after.most, before, cond.Phi).Less < 0.05
	if judged && lower && cond.Missing == 0 && !after.atLeast && after.most.Firings > 0 {
		return Proven
	}
	return NotYet
}

// FiringsToJudge is how many firings of running before would have told whether the misses come in bursts: ten blocks of
// 200 revolutions.
const FiringsToJudge = 1000

// fiveQuiet: a repair must have run more than five times the longest quiet stretch of the fault (common
// practice, no source).
const fiveQuiet = 5

// quiet fills in how the fault came before: one burst every so many firings, and its longest quiet stretch.
// Where that was not followed it is taken as the longest of so many exponential gaps is on average, the mean
// gap times the harmonic sum.
func (c *comparer) quiet(cond *Condition, before rate.Count) {
	cond.Every = math.NaN()
	if effective := before.Misses / cond.Phi; effective > 0 {
		gap := before.Firings / effective
		const euler = 0.5772
		cond.Quiet = math.Min(before.Firings, gap*(math.Log(math.Max(1, effective))+euler))
		cond.Every = before.Firings / before.Misses
		if cond.Bursty {
			cond.Every = gap
		}
	}
	for _, q := range c.in.Before.Quiet {
		if q.Cylinder == cond.Cylinder && q.Gear == cond.Where.Gear && cond.Level != Frame {
			cond.Quiet, cond.QuietKnown = q.Firings, true
		}
	}
}
