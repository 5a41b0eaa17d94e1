package misfire

import (
	"math"
	"slices"

	"stumble/misfire/rate"
)

// banked is the bank that the verdict comes to: the one that every named cylinder lies on, if two are named and it is
// named whole or has every miss; where none is named the one that stands out as a whole. 0 when there is none, or the
// engine has but one.
func (r *review) banked(s *Summary, v *Verdict) int {
	banks := r.layout.Banks
	if len(banks) < 2 {
		return 0
	}
	switch named := v.Named(); {
	case len(named) == 0 && v.Foremost == 0:
		return r.bankBeyondChance()
	case len(named) > 1:
		bank := r.layout.BankOf(named[0])
		if bank == 0 || slices.ContainsFunc(named, func(c int) bool { return r.layout.BankOf(c) != bank }) {
			return 0
		}
		if len(named) == len(banks[bank-1]) || r.hasEveryMiss(s, bank) {
			return bank
		}
	}
	return 0
}

// hasEveryMiss reports whether no cylinder off a bank missed.
func (r *review) hasEveryMiss(s *Summary, bank int) bool {
	for _, c := range s.Total {
		if c.Misses > 0 && r.layout.BankOf(c.Cylinder) != bank {
			return false
		}
	}
	return true
}

// bankBeyondChance is the one bank whose misses together are beyond chance by the rule for a cylinder, and beyond those of
// the others; 0 when there is none.
func (r *review) bankBeyondChance() (found int) {
	banks := r.layout.Banks
	for i := range banks {
		mine, guard := r.together(banks[i])
		var rest []int
		for j := range banks {
			if j != i {
				rest = append(rest, banks[j]...)
			}
		}
		others, most := r.together(rest)
		most = math.Max(most, guard)
		if mine.Misses/guard < fewestBursts || rate.BadEvidence(mine, guard, r.ceiling) < rate.BadThreshold(len(banks), accuses) {
			continue
		}
		apart := []rate.Split{{Misses: mine.Misses, First: mine.Firings}, {Misses: others.Misses, Other: others.Firings}}
		if rate.WorseEvidence(apart, mine.Firings, others.Firings, most) >= rate.WorseThreshold(len(banks)) {
			found = i + 1 // of two banks only one can be worse than the other
		}
	}
	return found
}

// together is the misses and firings of some cylinders that are counted, and the guard of the burstiest of them.
func (r *review) together(cylinders []int) (all rate.Count, guard float64) {
	guard = 1
	for _, cylinder := range cylinders {
		i := cylinder - 1
		if i >= r.cylinders || !r.tally.lanes[i].reported {
			continue
		}
		c := r.all(i)
		all.Misses += c.Misses
		all.Firings += c.Firings
		guard = math.Max(guard, rate.Guard(about(&r.total[i].ladder, c)))
	}
	return all, guard
}
