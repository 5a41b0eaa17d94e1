package misfire

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"stumble/misfire/rate"
)

const (
	// accuses is how rarely chance may ever put the name of a bad cylinder on a healthy engine, however often one looks.
	accuses = 0.01
	// fewestBursts is how many bursts must have been seen at least, in misses over the guard.
	fewestBursts = 3
	// firingsToAccuse is how much of a cylinder must have run before it is called bad: three minutes at 750 rpm. A minute of
	// misses at the very start of a drive looks like a bad cylinder, and may be over in the next.
	firingsToAccuse = 1125
)

// charge follows whether one cylinder misses more than a healthy one may. Each is held against the ceiling by itself: a
// share of all misses would hide a second bad one behind the first.
type charge struct {
	now bool // it misses more, on what was seen so far
	bad bool // and enough ran to say so of the cylinder; kept until what was seen speaks against it
}

// dead reports whether a cylinder does not fire at all: but for the firings since its counter was last refreshed, all miss.
func (s *sum) dead() bool {
	const all, open = 0.97, 20 // a share of the firings; firings that are enough to tell
	return s.firings >= open && s.misses >= all*s.firings
}

// weigh brings the charge of a cylinder up to date after a window of its.
func (b *accounts) weigh(i int) {
	s := &b.total[i]
	if s.misses == 0 {
		return
	}
	evidence, bursts := b.evidence(i)
	s.charge.now = evidence >= rate.BadThreshold(b.cylinders, accuses) && bursts >= fewestBursts
	switch {
	case s.charge.now && s.firings >= firingsToAccuse:
		s.charge.bad = true
	case evidence < 0:
		s.charge.bad = false
	}
}

// evidence is how strongly a cylinder's running speaks for more misses than the ceiling, and in how many bursts: in the
// whole of the drive, which has half of the belief beforehand, or in one gear state.
func (b *accounts) evidence(i int) (log, bursts float64) {
	s := &b.total[i]
	whole, most := b.against(&s.ladder)
	logs, each := []float64{whole}, 0.0
	for _, t := range b.gears.of(i) {
		if t.misses > 0 {
			l, k := b.against(&t.ladder)
			logs, most = append(logs, l), math.Max(most, k)
		}
		each++
	}
	for i := range logs[1:] {
		logs[1+i] -= math.Log(math.Max(each, 1))
	}
	return floats.LogSumExp(logs) - math.Ln2, most
}

// against is the evidence of some windows of a cylinder, and how many bursts they hold.
func (b *accounts) against(l *rate.Ladder) (log, bursts float64) {
	c := l.Total()
	guard := rate.Guard(about(l, c))
	return rate.BadEvidence(c, guard, b.ceiling), c.Misses / guard
}

// about is how the windows of a ladder pile up their misses about the rate of a count, by blocks that evidence is guarded by.
func about(l *rate.Ladder, c rate.Count) rate.Bursts {
	return rate.Measure(rate.EvidenceLeast, 1, rate.Fitted{Ladder: l, Rate: ratio(c.Misses, c.Firings)})
}
