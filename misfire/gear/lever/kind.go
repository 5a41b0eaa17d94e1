package lever

import "math"

// kind is steps that look alike: as the box taking up, or one accessory coming on. A step the other way counts as its
// reverse.
type kind struct {
	load, rpm float64 // of a step up
	n         float64
	mass      [2]float64 // prior mass: as the lever, as an accessory
}

// maxKinds is how many kinds are told apart; what is rarer is like none.
const maxKinds = 14

const (
	kindLoad  = 0.6  // points: steps this alike are one kind,
	kindPart  = 0.12 // and this part of their size more
	kindRPM   = 14.0 // rpm
	leastMass = -9.0 // the least logarithm of a kind's prior mass
)

func (k *kind) width() float64 { return kindLoad + kindPart*k.load }

// alike is how far a step is from the kind, 1 at the edge.
func (k *kind) alike(load, rpm float64) float64 {
	return max(math.Abs(load-k.load)/k.width(), math.Abs(rpm-k.rpm)/kindRPM)
}

// upward is a step as if it had gone up.
func (s *step) upward() (load, rpm float64) {
	return math.Abs(s.load), math.Copysign(1, s.load) * s.rpm
}

// kindsOf sorts steps into kinds, the commonest first where there are too many.
func kindsOf(kinds []kind, rests []rest) []kind {
	kinds = kinds[:0]
	for i := range rests {
		for j := range rests[i].steps {
			if s := &rests[i].steps[j]; s.sort == stepped && !s.mixed {
				kinds = sorted(kinds, s)
			}
		}
	}
	for i := range kinds {
		k := &kinds[i]
		k.mass[0] = mass(leverSize(k.load, k.rpm), k)
		k.mass[1] = mass(accessorySize(k.load, k.rpm), k)
	}
	return kinds
}

func sorted(kinds []kind, s *step) []kind {
	load, rpm := s.upward()
	best, near := -1, 1.0
	for i := range kinds {
		if a := kinds[i].alike(load, rpm); a < near {
			best, near = i, a
		}
	}
	if best < 0 {
		if len(kinds) < maxKinds {
			return append(kinds, kind{load: load, rpm: rpm, n: 1})
		}
		rarest := 0
		for i := range kinds {
			if kinds[i].n < kinds[rarest].n {
				rarest = i
			}
		}
		kinds[rarest].n-- // a kind met once gives way to what comes after
		if kinds[rarest].n <= 0 {
			kinds[rarest] = kind{load: load, rpm: rpm, n: 1}
		}
		return kinds
	}
	k := &kinds[best]
	k.n++
	k.load += (load - k.load) / k.n
	k.rpm += (rpm - k.rpm) / k.n
	return kinds
}

// mass is the share of all sizes that a kind takes up.
func mass(density float64, k *kind) float64 {
	return max(density*2*k.width()*2*kindRPM, math.Exp(leastMass))
}

// leverSize is how likely a lever is of a size: points of load a converter takes, rpm by which the idle falls with it.
func leverSize(load, rpm float64) float64 {
	return logNormal(load, 7, 0.5) * (0.45*normal(rpm, 15) + 0.55*normal(rpm+55, 35))
}

// accessorySize is how likely an accessory is of a size: idle control may raise the speed for it.
func accessorySize(load, rpm float64) float64 {
	return logNormal(load, 5, 0.8) * (0.55*normal(rpm, 14) + 0.25*normal(rpm-45, 28) + 0.2*normal(rpm+30, 25))
}

// normal is the normal density at a distance from the mean.
func normal(x, sigma float64) float64 {
	z := x / sigma
	return math.Exp(-z*z/2) / (sigma * math.Sqrt(2*math.Pi))
}

// logNormal is the log-normal density of a median and the spread of its logarithm.
func logNormal(x, median, sigma float64) float64 {
	if x <= 0 {
		return 0
	}
	return normal(math.Log(x/median), sigma) / x
}
