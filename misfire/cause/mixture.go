package cause

import (
	"math"
	"slices"
	"stumble/obd"

	"gonum.org/v1/gonum/stat/distuv"
)

// Limits of fuel trim, short and long together, in percent: within 5 no complaint, beyond 10 suspect, banks more than
// 10 apart one bank's own fault; common practice, no source.
const (
	trimNormal  = 5.0
	trimSuspect = 10.0
	banksApart  = 10.0
)

// How far trims of sound engines lie from zero, and of their banks from each other, in percent; judgement.
const (
	trimSpread  = 2.0
	bankSpread  = 1.5
	shapeSpread = 1.0 // of one engine between idle and load
)

// ownLean is how far off one cylinder's own mixture is suspect, in percent. An engine runs up to some 15 to 25 % lean
// before it misses (from memory), so a cylinder that misses for want of fuel is beyond this.
const ownLean = 8.0

// trap is the share of a bank's firings that miss above which its trim is not looked at: each charge that does not burn
// sends its oxygen to the sensor and reads as if fuel were wanting.
const trap = 0.06

// oxygen is how far a trim may be off for what its misses add, a standard deviation in percent: some of them burn late
// and add less, so anything from nothing to all of it is taken off.
func (e *Evidence) oxygen(bank int, place TrimPlace) float64 {
	return adds(e.missed(bank, place)) / math.Sqrt(12)
}

// adds is the percent of fuel that a controller adds for the air of charges that do not burn, a share of all: it makes
// up for it by the others.
func adds(missed float64) float64 { return 100 * missed / (1 - min(missed, 0.9)) }

// trusted is the trim of a bank in a place where it hardly misses, with what its few misses add taken off: a charge in
// a hundred that does not burn leaves a hundredth of the air. Where it misses more the trim is trusted if it lies beyond
// all that its misses can add, or on the other side. ok is false where it cannot be trusted.
func (e *Evidence) trusted(bank int, place TrimPlace) (percent float64, ok bool) {
	const few = 2
	t := e.Trims[bank-1][place]
	if e.Codes.sensor(bank) {
		return 0, false
	}
	if t.Samples == 0 || t.Samples < few && e.counted() {
		return 0, false
	}
	missed := e.missed(bank, place)
	switch {
	case missed <= trap:
	case t.Mean < -trimNormal: // rich in spite of the oxygen
		return t.Mean, true
	case t.Mean-adds(missed) < trimSuspect:
		return 0, false
	}
	return t.Mean - adds(missed), true
}

// sensor reports whether a code says that the oxygen sensor before the catalyst of a bank misleads: its trims are then no
// evidence (SAE J2012 from memory).
func (c *Codes) sensor(bank int) bool {
	first := obd.Code(0x0130)
	if bank == 2 {
		first = 0x0150
	}
	return slices.ContainsFunc(c.Set, func(code obd.Code) bool { return code >= first && code <= first+5 })
}

// missed is the share of a bank's firings that miss in the running of a trim's place; of an engine whose banks are not
// told, of the whole engine, doubled where it has two.
func (e *Evidence) missed(bank int, place TrimPlace) float64 {
	places := [...][]Place{
		TrimIdle: {IdleNeutral, IdleGear}, TrimRaised: {Raised}, TrimCruise: {Cruise}, TrimPull: {Pull, Fast},
	}[place]
	var sum Count
	times := 1.0
	for i := range e.Cylinders {
		b := e.Engine.BankOf(i + 1)
		if b == 0 && e.twoBanks() {
			times = 2
		}
		if b != 0 && b != bank && e.twoBanks() {
			continue
		}
		for _, p := range places {
			sum.add(e.Cylinders[i].at(p))
		}
	}
	if sum.Firings == 0 {
		return 0
	}
	return times * sum.Misses / sum.Firings
}

// mixture is what the trims tell, where they can be trusted.
func (e *Evidence) mixture(s *scope, put func(string, []float64, Telling)) {
	if s.named && e.dead(s) {
		return // its air is all that the sensor sees
	}
	if s.kind <= scopeNeighbours && len(s.cylinders) > 0 {
		e.ownMixture(s, put)
		e.ownShape(s, put)
		return
	}
	e.trimLevel(s, put)
	e.shape(s, put)
	e.apart(put)
}

// ownMixture works back from the bank's trim to the cylinder's own mixture: a bank of n shows an n-th of it. With two
// banks the other one tells what is common to both.
func (e *Evidence) ownMixture(s *scope, put func(string, []float64, Telling)) {
	if s.bank == 0 {
		return
	}
	n := float64(e.perBank(s.bank)) / float64(len(s.cylinders))
	spread, more, sum, places := trimSpread, 0.0, 0.0, 0.0
	for p := range TrimPlaces {
		t, ok := e.trusted(s.bank, TrimPlace(p))
		if !ok {
			continue
		}
		if e.twoBanks() {
			other, known := e.trusted(3-s.bank, TrimPlace(p))
			if !known {
				continue
			}
			t -= other
			spread = bankSpread
		}
		sum += t
		more += e.oxygen(s.bank, TrimPlace(p))
		places++
	}
	if places == 0 {
		return
	}
	own := sum / places * n
	d := distuv.Normal{Mu: own, Sigma: math.Hypot(spread, more/places) * n}
	put("trim_own", between(d.CDF, []float64{-ownLean, ownLean}), Telling{Kind: OwnTrim, Trim: sum / places, Own: own, Cylinders: s.cylinders})
}

// ownShape sets the trim at idle against that at speed or under load, worked back to the cylinder: what all of the
// engine's trim has in common falls out.
func (e *Evidence) ownShape(s *scope, put func(string, []float64, Telling)) {
	if s.bank == 0 {
		return
	}
	n := float64(e.perBank(s.bank)) / float64(len(s.cylinders))
	idle, loaded, where, ok := e.idleAndLoaded(s.bank)
	if !ok {
		return
	}
	d := distuv.Normal{Mu: (loaded - idle) * n, Sigma: e.shapeSpread(s.bank, where, shapeSpread) * n}
	put("trim_own_shape", between(d.CDF, []float64{-ownLean, ownLean}), Telling{Kind: TrimShape, Trim: loaded, Where: where, Idle: idle})
}

// shapeSpread is how far the difference of a trim and that at idle may be off by chance, in percent.
func (e *Evidence) shapeSpread(bank int, where TrimPlace, spread float64) float64 {
	return math.Hypot(spread, math.Hypot(e.oxygen(bank, TrimIdle), e.oxygen(bank, where)))
}

// idleAndLoaded is the trim at idle, and that where the engine is loaded or fast most that it is known.
func (e *Evidence) idleAndLoaded(bank int) (idle, loaded float64, where TrimPlace, ok bool) {
	if idle, ok = e.trusted(bank, TrimIdle); !ok {
		return 0, 0, 0, false
	}
	for _, where = range [...]TrimPlace{TrimPull, TrimRaised, TrimCruise} {
		if loaded, ok = e.trusted(bank, where); ok {
			return idle, loaded, where, true
		}
	}
	return 0, 0, 0, false
}

// trimLevel is the trim that lies farthest from zero.
func (e *Evidence) trimLevel(s *scope, put func(string, []float64, Telling)) {
	farthest, where, on, found := 0.0, TrimIdle, 0, false
	for bank := 1; bank <= 2; bank++ {
		if s.bank != 0 && s.bank != bank && e.twoBanks() {
			continue
		}
		for p := range TrimPlaces {
			if t, ok := e.trusted(bank, TrimPlace(p)); ok && (!found || math.Abs(t) > math.Abs(farthest)) {
				farthest, where, on, found = t, TrimPlace(p), bank, true
			}
		}
	}
	if !found {
		return
	}
	d := distuv.Normal{Mu: farthest, Sigma: math.Hypot(trimSpread, e.oxygen(on, where))}
	put("trim_level", between(d.CDF, []float64{-trimNormal, trimNormal, trimSuspect}), Telling{Kind: TrimLevel, Trim: farthest, Where: where, Bank: e.ofBank(on)})
}

// ofBank is a bank where there are two, else 0.
func (e *Evidence) ofBank(bank int) int {
	if !e.twoBanks() {
		return 0
	}
	return bank
}

// shape sets the trim at speed or under load against that at idle.
func (e *Evidence) shape(s *scope, put func(string, []float64, Telling)) {
	idle, loaded, where, ok := e.idleAndLoaded(max(1, s.bank))
	if !ok {
		return
	}
	d := distuv.Normal{Mu: loaded - idle, Sigma: e.shapeSpread(max(1, s.bank), where, trimSpread)}
	put("trim_shape", between(d.CDF, []float64{-trimNormal, trimNormal}), Telling{Kind: TrimShape, Trim: loaded, Where: where, Idle: idle})
}

// apart sets the banks against each other where they differ most.
func (e *Evidence) apart(put func(string, []float64, Telling)) {
	if !e.twoBanks() {
		return
	}
	most, found := 0.0, false
	for p := range TrimPlaces {
		one, ok := e.trusted(1, TrimPlace(p))
		other, known := e.trusted(2, TrimPlace(p))
		if d := one - other; ok && known && (!found || math.Abs(d) > math.Abs(most)) {
			most, found = d, true
		}
	}
	if !found {
		return
	}
	d := distuv.Normal{Mu: math.Abs(most), Sigma: trimSpread}
	even := d.CDF(banksApart)
	put("trim_banks", []float64{1 - even, even}, Telling{Kind: BanksApart, Trim: math.Abs(most)})
}
