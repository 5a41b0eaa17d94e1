package proof

import (
	"cmp"
	"math"
	"slices"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Comparison is a drive before a repair against a drive after it.
type Comparison struct {
	Outcome     Outcome
	Cylinders   []Cylinder
	Newcomers   []Newcomer // cylinders that fail after and did not before
	Frames      []FrameMatch
	Checks      []Check // what else a proof wants
	Needed      []Need  // running still to come, by gear state; empty when none is
	NotCompared []Alone // conditions that only one side ran in: they weigh nothing
	Codes       *CodeChange
	CleanAfter  bool // no miss of any cylinder was counted after
	Tolerance   Tolerance
	Ceiling     float64 // per 1,000 firings
}

// Cylinder is one cylinder that failed before.
type Cylinder struct {
	Cylinder   int
	Outcome    Outcome
	Conditions []Condition // failing ones first, the most misses first
	Overall    rate.Several
	Line       Line // what a proof wants, and how far it has come
	OneRatio   bool // Overall's ratio may be told; else the conditions differ too much for one
}

// Check is one more thing that a proof wants.
type Check struct {
	Kind CheckKind
	Code obd.Code // that asks for it; 0 where none does
	Met  bool
}

// CheckKind is what such a thing is.
type CheckKind uint8

// Kinds of check.
const (
	WantsStart  CheckKind = iota // an engine start in the running after
	WantsWarmUp                  // a warm-up from cold in the running after
)

// Need is running that would decide it.
type Need struct {
	Gear    gear.State // Unknown where a freeze frame does not tell
	At      Point
	Firings float64 // of the cylinder, without a miss
	RPM     float64
	Minutes float64
}

// Alone is a condition that one side ran in without anything similar on the other.
type Alone struct {
	Where   misfire.Condition
	Before  bool // it is the drive before that has it
	Firings float64
}

// Compare judges a repair by the drives before and after it. The errors are one line each and say what to do.
func Compare(in Input) (*Comparison, error) {
	c, err := newComparer(in)
	if err != nil {
		return nil, err
	}
	out := &Comparison{Tolerance: c.tolerance, Ceiling: c.ceiling}
	for i := range c.before.cylinders {
		conditions := c.conditions(i + 1)
		if slices.ContainsFunc(conditions, func(c Condition) bool { return c.Failing }) {
			out.Cylinders = append(out.Cylinders, Cylinder{Cylinder: i + 1, Conditions: conditions})
		}
	}
	out.Frames = c.frames(out.Cylinders)
	for i := range out.Cylinders {
		c.conclude(&out.Cylinders[i])
	}
	slices.SortStableFunc(out.Cylinders, func(a, b Cylinder) int { return cmp.Compare(worst(b), worst(a)) })
	out.Newcomers = c.newcomers(out.Cylinders)
	out.Checks = c.checks(out.Cylinders)
	out.NotCompared = c.notCompared(out.Cylinders)
	out.Codes = changeOf(in.Before.Codes, in.After.Codes)
	out.Outcome = out.overall()
	if out.Outcome != Proven {
		out.Needed = needed(out.Cylinders)
	}
	out.CleanAfter = misfires(in.After.Drives) == 0
	return out, nil
}

func newComparer(in Input) (*comparer, error) {
	if err := in.check(); err != nil {
		return nil, err
	}
	return &comparer{in: in, tolerance: ToleranceOf(in.Strict), ceiling: in.ceiling(),
		before: in.Before.collect(), after: in.After.collect()}, nil
}

// worst is a cylinder's largest number of misses before in one failing condition.
func worst(c Cylinder) float64 { return c.Conditions[0].Before.Misses }

// conclude sums a cylinder up.
func (c *comparer) conclude(cyl *Cylinder) {
	slices.SortStableFunc(cyl.Conditions, func(a, b Condition) int {
		if a.Failing != b.Failing {
			if a.Failing {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.Before.Misses, a.Before.Misses)
	})
	c.draw(cyl)
	c.judge(cyl)
	cyl.Outcome = ofAll(cyl.Conditions)
	pairs := c.strata(cyl.Cylinder)
	phi := 1.0
	for _, cond := range cyl.Conditions {
		if cond.Failing {
			phi = math.Max(phi, cond.Phi)
		}
	}
	cyl.Overall = rate.CompareSeveral(pairs, phi)
	cyl.OneRatio = len(cyl.Overall.Compared) > 0 && !(cyl.Overall.MantelHaenszel.UnlikeChance < 0.05)
	if cyl.Outcome == StillMissing && cyl.OneRatio && cyl.Overall.High <= 0.5 {
		cyl.Outcome = Improved // no single condition tells so much, all of them together do
	}
}

// ofAll is the outcome of all failing conditions: proven when each is, else the worst that is known.
func ofAll(conditions []Condition) Outcome {
	all := Proven
	for _, c := range conditions {
		if c.Failing {
			all = worse(all, c.Outcome)
		}
	}
	return all
}

// worse is the outcome that outweighs the other where both hold.
func worse(a, b Outcome) Outcome {
	for _, o := range [...]Outcome{StillMissing, Improved, Moved, NotYet} {
		if a == o || b == o {
			return o
		}
	}
	return Proven
}

// overall is the outcome of the whole comparison.
func (c *Comparison) overall() Outcome {
	if len(c.Cylinders) == 0 {
		return NotYet
	}
	all := Proven
	for _, cyl := range c.Cylinders {
		all = worse(all, cyl.Outcome)
	}
	for _, n := range c.Newcomers {
		if n.Moved {
			all = worse(all, Moved)
		}
	}
	for _, check := range c.Checks {
		if !check.Met {
			all = worse(all, NotYet)
		}
	}
	return all
}

// strata pairs a cylinder's running before and after into conditions that do not overlap: each condition after
// goes to the nearest similar one before, and one before that got none joins the nearest similar one after.
// The first of a pair is the running after.
func (c *comparer) strata(cylinder int) []rate.Pair {
	before, after := c.before.lane(cylinder).fine, c.after.lane(cylinder).fine
	pairs := make([]rate.Pair, len(before))
	home := make([]int, len(after))
	taken := make([]bool, len(before))
	for i, a := range after {
		home[i] = c.nearest(before, a)
		if home[i] >= 0 {
			add(&pairs[home[i]].A, a.count)
			taken[home[i]] = true
		}
	}
	for i, b := range before {
		to := i
		if !taken[i] {
			if a := c.nearest(after, b); a >= 0 {
				to = home[a]
			}
		}
		add(&pairs[to].B, b.count)
	}
	return pairs
}

func add(sum *rate.Count, c rate.Count) {
	sum.Misses += c.Misses
	sum.Firings += c.Firings
}

// nearest is the place of the running most similar to r; -1 when none is similar.
func (c *comparer) nearest(among []running, r running) int {
	best, distance := -1, 1.0
	for i, o := range among {
		if o.where.Gear != r.where.Gear {
			continue
		}
		if d := c.tolerance.apart(o.point, r.point); d <= distance && (best < 0 || d < distance) {
			best, distance = i, d
		}
	}
	return best
}

// notCompared is what one side alone ran in, told once whatever the cylinder.
func (c *comparer) notCompared(cylinders []Cylinder) []Alone {
	if len(cylinders) == 0 {
		return nil
	}
	cylinder := cylinders[0].Cylinder
	before, after := c.before.lane(cylinder).fine, c.after.lane(cylinder).fine
	var out []Alone
	for _, r := range before {
		if c.nearest(after, r) < 0 {
			out = append(out, Alone{Where: r.where, Before: true, Firings: r.most.Firings})
		}
	}
	for _, r := range after {
		if c.nearest(before, r) < 0 {
			out = append(out, Alone{Where: r.where, Firings: r.most.Firings})
		}
	}
	return out
}

// needed is the running still to come by gear state, the longest first. Conditions that are similar are driven
// at one time; cylinders are watched together.
func needed(cylinders []Cylinder) []Need {
	var out []Need
	for _, cyl := range cylinders {
		for _, n := range cyl.needed() {
			i := slices.IndexFunc(out, func(o Need) bool { return o.Gear == n.Gear })
			switch {
			case i < 0:
				out = append(out, n)
			case n.Minutes > out[i].Minutes:
				out[i] = n
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Need) int { return cmp.Compare(b.Minutes, a.Minutes) })
	return out
}

// Open returns the conditions in which a cylinder still wants running, the longest first; of similar ones the first alone,
// since they are driven at one time.
func (cyl *Cylinder) Open() []Condition {
	var open []Condition
	for _, c := range cyl.Conditions {
		if c.Failing && c.Outcome != Proven && c.Missing > 0 {
			open = append(open, c)
		}
	}
	slices.SortStableFunc(open, func(a, b Condition) int { return cmp.Compare(b.Minutes, a.Minutes) })
	var apart []Condition
	for _, c := range open {
		together := func(o Condition) bool {
			return (o.Where.Gear == c.Where.Gear || o.Where.Gear.Loaded() && c.Where.Gear.Loaded() || c.Level == Frame) && ToleranceOf(true).Similar(o.At, c.At)
		}
		if !slices.ContainsFunc(apart, together) {
			apart = append(apart, c)
		}
	}
	return apart
}

// needed is what one cylinder needs, by gear state.
func (cyl *Cylinder) needed() []Need {
	var out []Need
	for _, c := range cyl.Open() {
		i := slices.IndexFunc(out, func(n Need) bool { return n.Gear == c.Where.Gear })
		if i < 0 {
			out = append(out, Need{Gear: c.Where.Gear, At: c.At, RPM: c.RPM, Firings: c.Missing, Minutes: c.Minutes})
			continue
		}
		out[i].Firings += c.Missing
		out[i].Minutes += c.Minutes
	}
	return out
}
