package lever

import "math"

// Box is what the user told of the gearbox, once a car.
type Box uint8

const (
	NotTold   Box = iota
	Manual        // no load from the box at rest
	Converter     // automatic with a torque converter, or a CVT behind one
	Other         // dual clutch, hybrid, or not known
)

// loads is how likely the box of a car loads its engine at rest.
func (b Box) loads() float64 {
	switch b {
	case Manual:
		return 0.0005
	case Converter:
		return 0.97
	}
	return 0.6
}

// Rates, a second, and chances of what happens at rest.
const (
	outOfPark     = 1.0 / 40
	outOfGear     = 1.0 / 90
	otherRate     = 1.0 / 120
	leastUse      = 1.0 / 60    // of an accessory
	offFromPark   = 1.0 / 20000 // moving off with the lever's step unseen
	offFromGear   = 1.0 / 30
	hiddenByCold  = 15.0 // times likelier where the idle fell all through the rest
	hiddenByStep  = 0.003
	hiddenByBlip  = 0.03
	hiddenByHole  = 0.03 / 10 // a second
	sagged        = 0.08      // volts lost with a step are an electric load
	sagSays       = 0.082     // e^-2.5
	rampSays      = 0.135     // e^-2
	startsInPark  = 0.999
	restartsAs    = 0.85
	stopsInGear   = 0.97 // a driver who stays in gear at lights,
	stopsAny      = 0.5  // and one who does not,
	staysInGear   = 0.8  // and how many are of the first kind
	accessoryHeld = 0.7  // an accessory is as it was, a rest later
	longestWeight = 60.0 // s of a stretch that count for its rates: nobody waits at random
	someLever     = 0.5  // prior of a lever that no step shows, of boxes that load
	someAccessory = 0.5
)

// hypothesis is one reading of a drive: which kind the lever looks like and which an accessory, -1 for none, or that
// the box does not load the engine; and how the driver stops.
type hypothesis struct {
	loads            bool
	lever, accessory int
	stays            float64 // chance of being in gear as the car comes to rest
	prior            float64
}

// hypotheses are all there are over some kinds.
func hypotheses(all []hypothesis, kinds []kind, loads float64) []hypothesis {
	all = all[:0]
	for a := -1; a < len(kinds); a++ {
		with := 1 - someAccessory
		if a >= 0 {
			with = someAccessory * kinds[a].mass[1]
		}
		all = append(all, hypothesis{lever: -1, accessory: a, prior: (1 - loads) * with})
		for l := -1; l < len(kinds); l++ {
			if l >= 0 && l == a {
				continue
			}
			as := someLever
			if l >= 0 {
				as = kinds[l].mass[0]
			}
			for _, driver := range [...][2]float64{{stopsInGear, staysInGear}, {stopsAny, 1 - staysInGear}} {
				all = append(all, hypothesis{loads: true, lever: l, accessory: a, stays: driver[0],
					prior: loads * with * as * driver[1]})
			}
		}
	}
	return all
}

// fits is how well one step fits each kind, as the lever and as an accessory, and neither.
type fits struct {
	lever, accessory [maxKinds]float64
	other            float64
}

func (f *fits) of(s *step, kinds []kind) {
	load, rpm := s.upward()
	*f = fits{other: otherRate * normal(load, 8) * normal(rpm, 45)}
	against := 1.0
	if s.sag*math.Copysign(1, s.load) >= sagged {
		against *= sagSays
	}
	if s.ramp {
		against *= rampSays
	}
	for i := range kinds {
		k := &kinds[i]
		f.accessory[i] = alike(load-k.load, rpm-k.rpm, k)
		f.lever[i] = against * f.accessory[i]
	}
}

// alike is the likelihood of a step that is so far from its kind.
func alike(load, rpm float64, k *kind) float64 {
	l, r := 0.5+0.11*k.load, 11+0.2*math.Abs(k.rpm)
	return 0.9*normal(load, l)*normal(rpm, r) + 0.1*normal(load, 3*l)*normal(rpm, 3*r)
}
