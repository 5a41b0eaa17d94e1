package proof

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"stumble/misfire/rate"
)

// Swap is one kind of part exchanged between two cylinders.
type Swap struct {
	Part string // coil, wire, plug or injector
	A, B int    // the cylinders, in the order given
}

// Parts are the parts that can be exchanged.
func Parts() []string { return []string{"coil", "wire", "plug", "injector"} }

// ParseSwap reads a swap as written: "coil:2-3".
func ParseSwap(text string) (Swap, error) {
	part, cylinders, ok := strings.Cut(strings.TrimSpace(text), ":")
	a, b, both := strings.Cut(cylinders, "-")
	s := Swap{Part: strings.ToLower(strings.TrimSpace(part))}
	var errA, errB error
	s.A, errA = strconv.Atoi(strings.TrimSpace(a))
	s.B, errB = strconv.Atoi(strings.TrimSpace(b))
	if !ok || !both || errA != nil || errB != nil || s.A < 1 || s.B < 1 {
		return Swap{}, fmt.Errorf("%q is no swap: write the part and both cylinders, as in coil:2-3", text)
	}
	if !slices.Contains(Parts(), s.Part) {
		return Swap{}, fmt.Errorf("%q cannot be swapped: choose one of %s", part, strings.Join(Parts(), ", "))
	}
	if s.A == s.B {
		return Swap{}, fmt.Errorf("%q names cylinder %d twice: name the two that changed parts", text, s.A)
	}
	return s, nil
}

func (s Swap) String() string { return fmt.Sprintf("%s:%d-%d", s.Part, s.A, s.B) }

// SwapVerdict is how a swap is read.
type SwapVerdict uint8

// The verdicts.
const (
	CannotTell    SwapVerdict = iota
	FollowedPart              // the other cylinder misses now, this one no longer: replace the part
	StayedPut                 // this cylinder misses still, the other does not: the part is cleared
	BothMiss                  // two faults, or the swap disturbed something
	NeitherMisses             // handling cured the connection, for now
)

// String is the verdict for scripts: followed, stayed, both, neither or cannot_tell.
func (v SwapVerdict) String() string {
	names := [...]string{CannotTell: "cannot_tell", FollowedPart: "followed", StayedPut: "stayed", BothMiss: "both", NeitherMisses: "neither"}
	if int(v) < len(names) {
		return names[v]
	}
	return "?"
}

// MarshalText writes the verdict as String does.
func (v SwapVerdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// SwapResult is how a swap came out.
type SwapResult struct {
	Swap
	Verdict  SwapVerdict
	From, To int // the cylinder that missed before, and the one that got its part
	// FromCured and ToMissing are how strongly the running after speaks for the one no longer missing as it did,
	// and for the other missing so now: natural logarithms of odds, negative when they speak against it. Each
	// is right but for 1 in 100 when it says 100 to 1 (4.6) either way, however often one looks (Wald 1947).
	FromCured, ToMissing float64
	// Odds are those of the verdict, so many to 1: the weaker of both. While it cannot be told they are those
	// of having followed the part, under 1 where it more likely stayed.
	Odds       float64
	Conditions []SwapCondition
	Needed     []Need // running that would decide it, if neither misses or one does
	Tolerance  Tolerance
	// MayShareCoil tells that one coil may serve both cylinders: then exchanging coils exchanged nothing.
	MayShareCoil bool
}

// SwapCondition is one condition in which the cylinder missed before the swap.
type SwapCondition struct {
	Condition               // of the cylinder that missed
	Other     rate.Estimate // of the other cylinder after, in similar running
	OtherWas  rate.Estimate // and before

	missing, healthy float64 // rates per single firing told apart
}

// decided is the odds, as a logarithm, at which a swap is read: 100 to 1.
const decided = 2 * math.Ln10

// CompareSwap reads a swap test: the drive before it, with the fault, and the drive after. The errors are one
// line each and say what to do.
func CompareSwap(in Input, s Swap) (*SwapResult, error) {
	c, err := newComparer(in)
	if err != nil {
		return nil, err
	}
	n := len(c.before.cylinders)
	if max(s.A, s.B) > n {
		return nil, fmt.Errorf("%s names cylinder %d, the engine has %d: name two of its cylinders", s, max(s.A, s.B), n)
	}
	a, b := c.failingConditions(s.A), c.failingConditions(s.B)
	switch {
	case len(a) == 0 && len(b) == 0:
		return nil, fmt.Errorf("neither cylinder %d nor %d misses beyond doubt in the drive before: a swap can tell nothing", s.A, s.B)
	case len(a) > 0 && len(b) > 0:
		return nil, fmt.Errorf("cylinders %d and %d both miss in the drive before: swap with one that is clean", s.A, s.B)
	}
	r := &SwapResult{Swap: s, From: s.A, To: s.B, Tolerance: c.tolerance}
	if len(a) == 0 {
		r.From, r.To, a = s.B, s.A, b
	}
	for _, cond := range a {
		r.add(c, cond)
	}
	r.read()
	r.MayShareCoil = s.Part == "coil" && in.Before.Drives[0].Engine.MateOf(r.From) == r.To
	return r, nil
}

// failingConditions is where a cylinder fails before.
func (c *comparer) failingConditions(cylinder int) []Condition {
	return slices.DeleteFunc(c.conditions(cylinder), func(c Condition) bool { return !c.Failing })
}

// add weighs one condition. The rates told apart are the lower limit of the one that missed and a healthy one
// at the ceiling, or a tenth of it where that is more: fixed before the running after is looked at.
func (r *SwapResult) add(c *comparer, cond Condition) {
	level := func(s *side) []running {
		if cond.Level == WholeGear {
			return s.lane(r.To).gears
		}
		return s.lane(r.To).fine
	}
	other, _ := c.tolerance.like(level(&c.after), cond.Where.Gear, cond.At)
	was, _ := c.tolerance.like(level(&c.before), cond.Where.Gear, cond.At)
	missing := cond.Before.Low / 1000
	sc := SwapCondition{Condition: cond, Other: estimate(other, cond.Phi), OtherWas: estimate(was, cond.Phi),
		missing: missing, healthy: math.Max(c.ceiling/1000, missing/10)}
	r.Conditions = append(r.Conditions, sc)
	if missing < 2*sc.healthy {
		return // too little before to tell the two rates apart
	}
	r.FromCured -= sc.speaks(cond.After)
	r.ToMissing += sc.speaks(sc.Other)
}

// speaks is how strongly running speaks for missing rather than being healthy, as a logarithm of odds.
func (s *SwapCondition) speaks(e rate.Estimate) float64 {
	return (e.Misses*math.Log(s.missing/s.healthy) - e.Firings*(s.missing-s.healthy)) / s.Phi
}

// read comes to the verdict: each cylinder misses or not, which makes four cases.
func (r *SwapResult) read() {
	cured, moved := math.Abs(r.FromCured) >= decided, math.Abs(r.ToMissing) >= decided
	weaker := math.Min(math.Abs(r.FromCured), math.Abs(r.ToMissing))
	r.Odds = math.Exp(weaker)
	switch {
	case !cured || !moved:
		r.Verdict = CannotTell
		r.Odds = math.Exp(leaning(r.FromCured, r.ToMissing))
		r.Needed = r.needed()
	case r.FromCured > 0 && r.ToMissing > 0:
		r.Verdict = FollowedPart
	case r.FromCured < 0 && r.ToMissing < 0:
		r.Verdict = StayedPut
	case r.FromCured < 0:
		r.Verdict = BothMiss
	default:
		r.Verdict = NeitherMisses
	}
}

// leaning is how strongly both agree on the part having taken the fault along (positive) or not (negative); 0
// where they disagree.
func leaning(cured, moved float64) float64 {
	switch {
	case cured > 0 && moved > 0:
		return math.Min(cured, moved)
	case cured < 0 && moved < 0:
		return math.Max(cured, moved)
	}
	return 0
}

// needed is the running that would decide it if no more misses came on the cylinder least decided, in the
// condition where that takes the least time.
func (r *SwapResult) needed() []Need {
	// A clean cylinder is the slower one to decide: a missing one soon shows.
	left := math.Max(decided-math.Abs(r.FromCured), decided-math.Abs(r.ToMissing))
	var best []Need
	for _, c := range r.Conditions {
		if c.missing < 2*c.healthy {
			continue
		}
		firings := left * c.Phi / (c.missing - c.healthy)
		n := Need{Gear: c.Where.Gear, At: c.At, Firings: firings, RPM: c.RPM, Minutes: rate.Minutes(firings, c.RPM)}
		if len(best) == 0 || n.Minutes < best[0].Minutes {
			best = []Need{n}
		}
	}
	return best
}
