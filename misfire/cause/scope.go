package cause

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// The kinds of scope, as features.csv has them.
const (
	scopeOne = iota
	scopePair
	scopeNeighbours
	scopeBank
	scopeAll
	scopeSeveral
	scopes
)

// scope is which cylinders miss: how likely each kind of pattern makes the counts, and the cylinders of the best.
type scope struct {
	weights   []float64 // by kind, summing to 1
	kind      int       // the likeliest
	cylinders []int     // those of the likeliest pattern, in order
	bank      int       // of a bank pattern; else that of the cylinders if they share one; 0 unknown
	left      []int     // cylinders that miss as well but fit no pattern with these: another fault
	named     bool      // by counts rather than by a code
}

// pattern is a set of cylinders that one fault may make miss.
type pattern struct {
	kind      int
	cylinders []int
}

// How misses fall on the cylinders, as parameters of Dirichlet's and the beta distribution. Those of a fault share its
// misses evenly: 3 lets one of two have a third to three times the other's. The others together have hardly any, one or
// two in a hundred: beta of a half and 30; which of them, is open. Without a pattern any mix is as likely as another.
const (
	evenly   = 3.0
	anyhow   = 1.0
	whichOne = 0.5
	bystand  = 0.5
	belong   = 30.0
	enough   = 0.15 // share of the misses that makes a cylinder more than a bystander
	halfway  = 0.5
)

// scopeOf finds the pattern in the counts.
func (e *Evidence) scopeOf() scope {
	// One dispersion for all: it is of the running, and a cylinder alone tells little of it.
	var all Count
	for i := range e.Cylinders {
		all.add(e.Cylinders[i].Total)
	}
	misses := make([]float64, len(e.Cylinders))
	for i := range e.Cylinders {
		misses[i] = e.Cylinders[i].Total.Misses / all.phi()
	}
	if k := 2 * mostMisses / max(1, sum(misses)); k < 1 { // more say the same again
		for i := range misses {
			misses[i] *= k
		}
	}
	s := e.patterns(misses)
	if s.kind != scopeSeveral && !e.unlike(&s) {
		return s
	}
	// No pattern of one fault: two may be at work. If a few cylinders have nearly all the misses the worst is looked
	// at by itself.
	worst, some := foremost(misses)
	if len(some) < 2 || 2*len(some) > len(misses) {
		return s
	}
	alone := slices.Clone(misses)
	for _, cyl := range some {
		if cyl != worst {
			alone[cyl-1] = 0
		}
	}
	one := e.patterns(alone)
	one.left = slices.DeleteFunc(some, func(cyl int) bool { return cyl == worst })
	return one
}

// unlike reports whether the two cylinders of a pattern miss in different running, beyond chance: then two faults are at
// work and not one. It is the likelihood ratio test for two rows of counts (Wilks 1938, from memory), the rates of each
// place being set against each other.
func (e *Evidence) unlike(s *scope) bool {
	if s.kind != scopePair && s.kind != scopeNeighbours {
		return false
	}
	a, b := &e.Cylinders[s.cylinders[0]-1], &e.Cylinders[s.cylinders[1]-1]
	all, other := capped(a.Total), capped(b.Total)
	share, g, places := all.Effective/(all.Effective+other.Effective), 0.0, -1.0
	for p := range Places {
		x, y := a.at(Place(p)).Misses/a.Total.Misses*all.Effective, b.at(Place(p)).Misses/b.Total.Misses*other.Effective
		if x+y == 0 {
			continue
		}
		places++
		for _, c := range [...][2]float64{{x, (x + y) * share}, {y, (x + y) * (1 - share)}} {
			if c[0] > 0 {
				g += 2 * c[0] * math.Log(c[0]/c[1])
			}
		}
	}
	const chance = 1e-4
	return places >= 1 && distuv.ChiSquared{K: places}.Survival(g) < chance
}

// named are the cylinders of s that a cause may name: those that the verdict of the drives names, where it names any of
// them, and none where the misses fall on all or on no pattern.
func (e *Evidence) named(s *scope) []int {
	if s.kind == scopeAll || s.kind == scopeSeveral {
		return nil
	}
	named := slices.DeleteFunc(slices.Clone(s.cylinders), func(cyl int) bool { return !slices.Contains(e.Accused, cyl) })
	if len(named) == 0 || s.kind == scopeBank {
		return s.cylinders
	}
	return named
}

// foremost is the cylinder with most misses, and those with more than a bystander's share.
func foremost(misses []float64) (worst int, some []int) {
	all, most := sum(misses), 0.0
	for i, x := range misses {
		if x > most {
			worst, most = i+1, x
		}
		if x >= enough*all {
			some = append(some, i+1)
		}
	}
	return worst, some
}

// patterns weighs every pattern that one fault can make: shares of the misses are taken to be Dirichlet's, so the misses
// are Dirichlet-multinomial (Mosimann 1962, from memory). Patterns of one kind are equally likely beforehand.
func (e *Evidence) patterns(misses []float64) scope {
	all := slices.DeleteFunc(e.possible(), func(p pattern) bool { return p.innocent(misses) })
	var count [scopes]float64
	for _, p := range all {
		count[p.kind]++
	}
	logs := make([]float64, len(all))
	top := math.Inf(-1)
	for i, p := range all {
		logs[i] = p.log(misses) - math.Log(count[p.kind])
		top = max(top, logs[i])
	}
	s := scope{weights: make([]float64, scopes), named: true}
	best, total := 0, 0.0
	for i, p := range all {
		w := math.Exp(logs[i] - top)
		s.weights[p.kind] += w
		total += w
		if logs[i] > logs[best] {
			best = i
		}
	}
	for k := range s.weights {
		s.weights[k] /= total
		if s.weights[k] > s.weights[s.kind] {
			s.kind = k
		}
	}
	s.cylinders = all[best].cylinders
	if all[best].kind != s.kind { // the likeliest kind is made of several patterns
		s.cylinders = bestOf(all, logs, s.kind).cylinders
	}
	s.bank = e.bankOf(s.cylinders)
	if s.bank == 0 && s.kind == scopeBank { // bank 1 is the one with cylinder 1 (SAE J1930)
		s.bank = 2
		if slices.Contains(s.cylinders, 1) {
			s.bank = 1
		}
	}
	return s
}

// innocent reports whether a pair holds a cylinder that hardly misses: a pattern must not accuse it for its neighbour's
// misses.
func (p pattern) innocent(misses []float64) bool {
	if p.kind != scopePair && p.kind != scopeNeighbours {
		return false
	}
	low, high := math.Inf(1), 0.0
	for _, cyl := range p.cylinders {
		low, high = min(low, misses[cyl-1]), max(high, misses[cyl-1])
	}
	const single = fewMisses
	return low < max(single, enough*high)
}

func bestOf(all []pattern, logs []float64, kind int) pattern {
	best := -1
	for i, p := range all {
		if p.kind == kind && (best < 0 || logs[i] > logs[best]) {
			best = i
		}
	}
	return all[best]
}

// log is the logarithm of how likely a pattern makes the misses, but for what all patterns share.
func (p pattern) log(misses []float64) float64 {
	var mine, others []float64
	for i, x := range misses {
		if slices.Contains(p.cylinders, i+1) {
			mine = append(mine, x)
		} else {
			others = append(others, x)
		}
	}
	if p.kind == scopeSeveral {
		return logShares(mine, anyhow)
	}
	out := logShares(mine, evenly)
	if len(others) > 0 {
		out += logShares(others, whichOne) + logBeta(sum(others)+bystand, sum(mine)+belong) - logBeta(bystand, belong)
	}
	return out
}

// logShares is the logarithm of how likely misses fall on some cylinders in just that order, when the shares are
// Dirichlet's with the same parameter for each.
func logShares(misses []float64, a float64) float64 {
	n := float64(len(misses))
	out := logGamma(n*a) - logGamma(n*a+sum(misses))
	for _, x := range misses {
		out += logGamma(x+a) - logGamma(a)
	}
	return out
}

func logBeta(a, b float64) float64 { return logGamma(a) + logGamma(b) - logGamma(a+b) }

func sum(values []float64) float64 {
	total := 0.0
	for _, v := range values {
		total += v
	}
	return total
}

func logGamma(x float64) float64 {
	v, _ := math.Lgamma(x)
	return v
}

// possible are the patterns that this engine can have.
func (e *Evidence) possible() []pattern {
	n := e.count()
	var all []pattern
	for cyl := 1; cyl <= n; cyl++ {
		all = append(all, pattern{scopeOne, []int{cyl}})
	}
	if n < 2 {
		return all
	}
	for _, pair := range e.pairs() {
		all = append(all, pattern{scopePair, pair})
	}
	if n > 2 {
		for _, pair := range e.neighbours() {
			all = append(all, pattern{scopeNeighbours, pair})
		}
	}
	for _, bank := range e.banks() {
		all = append(all, pattern{scopeBank, bank})
	}
	whole := make([]int, n)
	for i := range whole {
		whole[i] = i + 1
	}
	return append(all, pattern{scopeAll, whole}, pattern{scopeSeveral, whole})
}

// pairs are the cylinders that may share a coil. Where the layout is not told any two may.
func (e *Evidence) pairs() [][]int {
	if e.Ignition == CoilOnPlug || e.Ignition == Distributor {
		return nil
	}
	var out [][]int
	for _, p := range e.Engine.Pairs {
		out = append(out, []int{p[0], p[1]})
	}
	if n := e.count(); len(e.Engine.FiringOrder) == 0 && n%2 == 0 {
		for a := 1; a <= n; a++ {
			for b := a + 1; b <= n; b++ {
				out = append(out, []int{a, b})
			}
		}
	}
	return out
}

// neighbours are the cylinders that stand side by side in the block. Where the layout is not told they are taken to be
// numbered along it.
func (e *Evidence) neighbours() [][]int {
	var out [][]int
	along := func(bank []int) {
		for i := 1; i < len(bank); i++ {
			out = append(out, []int{min(bank[i-1], bank[i]), max(bank[i-1], bank[i])})
		}
	}
	for _, bank := range e.Engine.Banks {
		along(bank)
	}
	if len(e.Engine.Banks) == 0 {
		whole := make([]int, e.count())
		for i := range whole {
			whole[i] = i + 1
		}
		along(whole)
	}
	return out
}

// banks are the cylinders of each bank, of an engine that has two. Where the layout is not told but the car trims two
// banks, both usual numberings may be.
func (e *Evidence) banks() [][]int {
	if len(e.Engine.Banks) >= 2 {
		return e.Engine.Banks
	}
	n := e.count()
	if len(e.Engine.Banks) > 0 || n%2 != 0 || n < 4 || !e.twoBanks() {
		return nil
	}
	out := make([][]int, 4)
	for cyl := 1; cyl <= n; cyl++ {
		odd, along := 1-cyl%2, 2+(cyl-1)/(n/2)
		out[odd] = append(out[odd], cyl)
		out[along] = append(out[along], cyl)
	}
	return out
}

// twoBanks reports whether the engine has two banks, by its layout or by its trims.
func (e *Evidence) twoBanks() bool {
	return len(e.Engine.Banks) >= 2 || e.Trims[1] != [TrimPlaces]Trim{}
}

// bankOf is the bank that all some cylinders stand on; 0 when it is not known or they do not share one.
func (e *Evidence) bankOf(cylinders []int) int {
	if !e.twoBanks() {
		return 1
	}
	bank := 0
	for _, cyl := range cylinders {
		b := e.Engine.BankOf(cyl)
		if b == 0 || bank != 0 && b != bank {
			return 0
		}
		bank = b
	}
	return bank
}

// perBank is how many cylinders share one trim.
func (e *Evidence) perBank(bank int) int {
	if bank >= 1 && bank <= len(e.Engine.Banks) {
		return len(e.Engine.Banks[bank-1])
	}
	n := e.count()
	if e.twoBanks() {
		n = n / 2
	}
	return max(1, n)
}

// lastScope is the scope in the car's own counts of its last driving cycle; false when they are too few to go by.
func (e *Evidence) lastScope() (s scope, ok bool) {
	const few = 20
	if len(e.Last) < 2 || sum(e.Last) < few {
		return s, false
	}
	s = e.patterns(e.Last)
	s.named = false
	return s, true
}

// coded is the scope that misfire codes alone tell of; false when there are none.
func (e *Evidence) coded() (s scope, weights []float64, ok bool) {
	several := false
	for _, code := range e.Codes.Set {
		if cyl, one := code.MisfireCylinder(); one {
			s.cylinders = append(s.cylinders, cyl)
		}
		several = several || code == severalMiss
	}
	slices.Sort(s.cylinders)
	switch {
	case len(s.cylinders) == 1:
		weights = []float64{1, 0}
		if several {
			weights = []float64{halfway, halfway} // the general code may hide a clear pattern
		}
		s.kind = scopeOne
	case len(s.cylinders) > 1 || several:
		weights = []float64{0, 1}
		s.kind = scopeSeveral
	default:
		return s, nil, false
	}
	s.bank = e.bankOf(s.cylinders)
	return s, weights, true
}
