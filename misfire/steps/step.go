package steps

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
)

// Step is one condition that the car is to run in.
type Step struct {
	Key         string // as the user names it: "drive"
	Name        string // "Drive at idle"
	Instruction string // what driver and helper do, one sentence without full stop
	Gear        gear.State
	Limits      []Limit
	Least, Most time.Duration // in the condition: never less; more only to see enough refreshes
	Cautions    []string      // one short line each

	// A pull is driven in bursts: no longer at once than Burst, then Rest of easy driving. A step in bursts never
	// takes more than Most. Zero for any other step.
	Burst, Rest time.Duration

	typical float64 // engine speed taken until it is seen, rpm
}

// Quantity is what a limit is put on.
type Quantity uint8

// Quantities.
const (
	RPM   Quantity = iota // revolutions a minute
	Load                  // calculated load, percent
	Speed                 // km/h
)

// of is the quantity's present value, NaN when it is not known.
func (q Quantity) of(l *misfire.Live) float64 {
	switch q {
	case RPM:
		return l.RPM
	case Load:
		return l.Load
	}
	return l.Speed
}

// Limit is a range that a step keeps to, from Low to below High, and what to say outside it. A value that is not
// known keeps to any.
type Limit struct {
	Quantity    Quantity
	Low, High   float64
	Under, Over string
}

// wrong is what to say about a value; empty when it is all right.
func (m *Limit) wrong(v float64) string {
	switch {
	case v < m.Low:
		return m.Under
	case v >= m.High:
		return m.Over
	}
	return ""
}

// The engine speeds and loads of the steps end where bands of the tally end, so that what a step saw can be found
// in its cells. Speeds, loads and lengths are common practice, no source.
const (
	idleBelow = 1500 // rpm; above any warm idle
	pullAbove = 60   // percent of load
)

const (
	chocked   = "parking brake on, chocks at both sides, nobody in front or behind"
	twoPeople = "the driver drives, a second person reads; obey the law"
)

func footOff() Limit  { return Limit{RPM, 0, idleBelow, "", "foot off the pedal"} }
func standing() Limit { return Limit{Speed, 0, 1, "", "stop, and hold the brake"} }

// atLeast is a range without an upper end.
func atLeast(q Quantity, low float64, under string) Limit {
	return Limit{q, low, math.Inf(1), under, ""}
}

// All is every step there is, in the order of the usual test.
func All() []Step {
	return []Step{
		{
			Key: "park", Name: "Park at idle", Gear: gear.ParkNeutral, typical: idle,
			Instruction: "select Park (or Neutral, parking brake on), foot off the pedal",
			Limits:      []Limit{footOff()}, Least: time.Minute, Most: longest,
		},
		{
			Key: "drive", Name: "Drive at idle", Gear: gear.Drive, typical: 680,
			Instruction: "hold the brake, select Drive, foot off the pedal",
			Limits:      []Limit{standing(), footOff()}, Least: time.Minute, Most: longest,
			Cautions: []string{chocked},
		},
		{
			Key: "reverse", Name: "Reverse at idle", Gear: gear.Reverse, typical: 680,
			Instruction: "hold the brake, select Reverse, foot off the pedal",
			Limits:      []Limit{standing(), footOff()}, Least: time.Minute, Most: longest,
			Cautions: []string{chocked},
		},
		{
			Key: "raised", Name: "Raised idle", Gear: gear.ParkNeutral, typical: 2500,
			Instruction: "select Park (or Neutral, parking brake on), hold 2,500 rpm with the pedal",
			Limits:      []Limit{{RPM, 2000, 3000, "a little more gas: 2,500 rpm are wanted", "a little less gas: 2,500 rpm are wanted"}},
			Least:       30 * time.Second, Most: longest,
			Cautions: []string{"nobody near fan and belts"},
		},
		{
			Key: "cruise", Name: "Steady cruise", Gear: gear.Moving, typical: 1900,
			Instruction: "drive a steady 60 to 80 km/h on a level road",
			Limits: []Limit{
				{Speed, 50, 100, "drive a little faster: 60 to 80 km/h are wanted", "drive a little slower: 60 to 80 km/h are wanted"},
				{Load, 0, pullAbove, "", "less gas: keep the speed steady"},
			},
			Least: 45 * time.Second, Most: longest,
			Cautions: []string{twoPeople},
		},
		{
			Key: "pull", Name: "Pull", Gear: gear.Moving, typical: 3200,
			Instruction: "where the road is clear, pull uphill in a high gear, half to full throttle",
			Limits: []Limit{
				atLeast(Load, pullAbove, "more gas: pull"),
			},
			Least: 15 * time.Second, Most: time.Minute, Burst: 20 * time.Second, Rest: 15 * time.Second,
			Cautions: []string{twoPeople, "if the lamp flashes, ease off at once"},
		},
	}
}

// longest is the most that a step runs for the sake of firings.
const longest = 3 * time.Minute

// Parse is the steps named, in the order named: "park,drive". The empty text is all of them. An unknown or
// doubled name is an error of one line.
func Parse(text string) ([]Step, error) {
	all := All()
	if text == "" {
		return all, nil
	}
	var plan []Step
	for _, key := range strings.Split(text, ",") {
		key = strings.TrimSpace(key)
		at := slices.IndexFunc(all, func(s Step) bool { return s.Key == key })
		switch {
		case at < 0:
			return nil, fmt.Errorf("there is no step %q; choose from %s", key, keys(all))
		case slices.ContainsFunc(plan, func(s Step) bool { return s.Key == key }):
			return nil, fmt.Errorf("step %q is named twice; name every step once", key)
		}
		plan = append(plan, all[at])
	}
	return plan, nil
}

func keys(plan []Step) string {
	var names []string
	for _, s := range plan {
		names = append(names, s.Key)
	}
	return strings.Join(names, ",")
}

// Wrong says what keeps a car from the step's condition; it is empty while the car is in it.
func (s *Step) Wrong(l *misfire.Live) string {
	if !l.Running {
		return "start the engine in Park"
	}
	if !s.meets(l.Gear.State) {
		return s.selectGear(l.Gear)
	}
	for i := range s.Limits {
		if words := s.Limits[i].wrong(s.Limits[i].Quantity.of(l)); words != "" {
			return words
		}
	}
	return ""
}

// meets reports whether a gear state is the step's: a gear that was inferred is taken for Drive, which all but always it
// is. Reverse asks for a mark.
func (s *Step) meets(g gear.State) bool {
	return g == s.Gear || g == gear.InGear && s.Gear == gear.Drive
}

// selectGear asks for the step's gear, and for the helper's mark where the car cannot tell it.
func (s *Step) selectGear(seen gear.Call) string {
	switch {
	case s.Gear == gear.Moving:
		return s.Instruction
	case seen.State == gear.Moving:
		return "stop, and hold the brake"
	}
	words, letter := "hold the brake, select Drive", "d"
	switch s.Gear {
	case gear.ParkNeutral:
		words, letter = "select Park or Neutral", "p"
	case gear.Reverse:
		words, letter = "hold the brake, select Reverse", "r"
	}
	// Reverse is seldom reported apart from Drive, and cannot be inferred: it begins and ends with a mark.
	if seen.State == gear.Unknown || seen.State == gear.Reverse || s.Gear == gear.Reverse {
		words += ", then mark it: press " + letter
	}
	return words
}

// Has reports whether running in a cell's condition is running in the step's. A step's speed on the road is in no
// cell and is left out of it.
func (s *Step) Has(c misfire.Condition) bool {
	if !s.meets(c.Gear) {
		return false
	}
	for _, m := range s.Limits {
		switch m.Quantity {
		case RPM:
			if !within(int(c.RPM), int(misfire.BandOfRPM(m.Low)), int(misfire.BandOfRPM(m.High)), m.High) {
				return false
			}
		case Load:
			if !within(int(c.Load), int(misfire.BandOfLoad(m.Low)), int(misfire.BandOfLoad(m.High)), m.High) {
				return false
			}
		}
	}
	return true
}

func within(band, low, high int, end float64) bool {
	return band >= low && (band < high || math.IsInf(end, 1))
}

// stalls reports whether the engine works against the brake: the converter then turns all of it into heat.
func (s *Step) stalls(l *misfire.Live) bool {
	return s.Gear.Loaded() && l.Running && s.meets(l.Gear.State) && l.RPM >= idleBelow
}
