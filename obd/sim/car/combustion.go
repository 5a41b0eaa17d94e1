package car

import "math/rand/v2"

// healthy is the chance of a miss of a sound cylinder: 0.02 per 1,000 firings.
const healthy = 0.02 / 1000

// Burst makes misses come in runs: a cylinder changes, firing by firing, between a bad and a good spell. The
// long-run rates stay what the faults give.
type Burst struct {
	Share float64 // of firings that fall in a bad spell, above 0 and below 1
	Run   float64 // mean length of a bad spell, in firings of that cylinder
}

// combustion draws the outcome of each firing.
type combustion struct {
	v      *Vehicle
	faults []Fault
	burst  Burst
	rng    *rand.PCG
	chance [maxCylinders]float64 // of a miss, now, in the long run
	bad    [maxCylinders]bool
}

// judge works out the chances under c.
func (b *combustion) judge(c *Conditions) {
	chance := b.chance[:b.v.Cylinders()]
	for i := range chance {
		chance[i] = healthy
	}
	for _, f := range b.faults {
		f.miss(b.v, c, chance)
	}
}

// fire is one firing of a cylinder; true is a miss.
func (b *combustion) fire(cyl int) bool {
	spell, outcome := uniform(b.rng), uniform(b.rng)
	p := b.chance[cyl-1]
	if b.burst.Run <= 1 {
		return outcome < p
	}
	return outcome < b.within(cyl, spell, p)
}

// within is the chance inside the present spell; it also moves the spell on. In the long run a share s of
// firings is bad, so bad spells miss at p/s and good ones hardly ever, until p outgrows s.
func (b *combustion) within(cyl int, spell, p float64) float64 {
	s := b.burst.Share
	leave := 1 / b.burst.Run
	if !b.bad[cyl-1] {
		leave = s / ((1 - s) * b.burst.Run)
	}
	if spell < leave {
		b.bad[cyl-1] = !b.bad[cyl-1]
	}
	switch {
	case b.bad[cyl-1]:
		return min(1, p/s)
	case p > s:
		return (p - s) / (1 - s)
	}
	return 0
}
