package guide

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
	Gear        gear.State
	Limits      []Limit
	Least, Most time.Duration // in the condition: never less; more only to see enough refreshes

	// What heats up is run in bursts: no longer at once than Burst, then Rest: of easy driving for the catalyst in a
	// pull, in Park for the transmission held on the brake. Zero for any other step.
	Burst, Rest time.Duration

	// Fixed steps take Most and no more, whatever the refresh: a pull, and lengths that were asked for.
	Fixed bool

	typical float64 // engine speed taken until it is seen, rpm
}

// OnBrake reports whether the step holds the car on the brake with a gear in.
func (s *Step) OnBrake() bool { return s.Gear.Loaded() }

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
	Under, Over SayingKind
	Wanted      float64 // what is said to be wanted; 0 where no number is
}

// wrong is what to say about a value; nothing when it is all right.
func (m *Limit) wrong(v float64) Saying {
	switch {
	case v < m.Low:
		return Saying{Kind: m.Under, Value: m.Wanted}
	case v >= m.High:
		return Saying{Kind: m.Over, Value: m.Wanted}
	}
	return Saying{}
}

// The engine speeds and loads of the steps end where bands of the tally end, so that what a step saw can be found
// in its cells. Speeds, loads and lengths are common practice, no source.
const (
	idleBelow = 1500 // rpm; above any warm idle
	pullAbove = 60   // percent of load
	raisedRPM = 2500
)

// longest is the most that a step runs for the sake of firings.
const longest = 3 * time.Minute

// A transmission in gear against the brake has all of the engine's work turned to heat in its fluid, even at idle: three
// minutes of it at once, then a minute in Park (common practice, no source).
const (
	OnBrakeAtOnce = 3 * time.Minute
	coolInPark    = time.Minute
)

func footOff() Limit  { return Limit{Quantity: RPM, High: idleBelow, Over: DoPedal} }
func standing() Limit { return Limit{Quantity: Speed, High: 1, Over: DoStopHold} }

// All returns every step there is, in the order of the usual test.
func All() []Step {
	return []Step{
		{
			Key: "park", Gear: gear.ParkNeutral, typical: idle,
			Limits: []Limit{footOff()}, Least: time.Minute, Most: longest,
		},
		{
			Key: "drive", Gear: gear.Drive, typical: 680,
			Limits: []Limit{standing(), footOff()}, Least: time.Minute, Most: longest, Burst: OnBrakeAtOnce, Rest: coolInPark,
		},
		{
			Key: "reverse", Gear: gear.Reverse, typical: 680,
			Limits: []Limit{standing(), footOff()}, Least: time.Minute, Most: longest, Burst: OnBrakeAtOnce, Rest: coolInPark,
		},
		{
			Key: "raised", Gear: gear.ParkNeutral, typical: raisedRPM,
			Limits: []Limit{{RPM, 2000, 3000, DoMoreRevs, DoFewerRevs, raisedRPM}}, Least: 30 * time.Second, Most: longest,
		},
		{
			Key: "cruise", Gear: gear.Moving, typical: 1900,
			Limits: []Limit{
				{Quantity: Speed, Low: 50, High: 100, Under: DoFaster, Over: DoSlower},
				{Quantity: Load, High: pullAbove, Over: DoSteady},
			},
			Least: 45 * time.Second, Most: longest,
		},
		{
			Key: "pull", Gear: gear.Moving, typical: 3200,
			Limits: []Limit{{Quantity: Load, Low: pullAbove, High: math.Inf(1), Under: DoPull}},
			Least:  15 * time.Second, Most: time.Minute, Burst: 20 * time.Second, Rest: 15 * time.Second, Fixed: true,
		},
	}
}

// The shortest and the longest that a step can be asked to run.
const (
	shortestAsked = 10 * time.Second
	longestAsked  = time.Hour
)

// Parse returns the steps named, in the order named, each with its length where one is given: "park,drive:4m". The empty
// text is all of them. A name that is unknown, or a length that cannot be, is an error of one line.
func Parse(text string) ([]Step, error) {
	if text == "" {
		return All(), nil
	}
	var plan []Step
	for _, part := range strings.Split(text, ",") {
		name, length, given := strings.Cut(strings.TrimSpace(part), ":")
		step, err := named(name)
		if err == nil && given {
			err = step.last(length)
		}
		if err != nil {
			return nil, err
		}
		plan = append(plan, step)
	}
	return plan, nil
}

func named(name string) (Step, error) {
	all := All()
	at := slices.IndexFunc(all, func(s Step) bool { return s.Key == name })
	if at < 0 {
		return Step{}, fmt.Errorf("there is no step %q; choose from %s", name, keys(all))
	}
	return all[at], nil
}

// last gives the step a length of its own.
func (s *Step) last(text string) error {
	length, err := time.ParseDuration(text)
	switch {
	case err != nil:
		return fmt.Errorf("%q is no length for step %s: say minutes or seconds, as in %s:4m or %s:90s", text, s.Key, s.Key, s.Key)
	case length < shortestAsked || length > longestAsked:
		return fmt.Errorf("step %s cannot take %s: give 10s to 1h", s.Key, text)
	}
	s.Least, s.Most, s.Fixed = length, length, true
	return nil
}

func keys(plan []Step) string {
	var names []string
	for _, s := range plan {
		names = append(names, s.Key)
	}
	return strings.Join(names, ",")
}

// Wrong returns what keeps a car from the step's condition; nothing while the car is in it.
func (s *Step) Wrong(l *misfire.Live) Saying {
	if !l.Running {
		return told(DoStart)
	}
	if !s.meets(l.Gear.State) {
		return s.selectGear(l.Gear.State)
	}
	for i := range s.Limits {
		if what := s.Limits[i].wrong(s.Limits[i].Quantity.of(l)); what.Kind != Nothing {
			return what
		}
	}
	return Saying{}
}

// meets reports whether a gear state is the step's: a gear that was inferred is taken for Drive, which all but always it
// is. Reverse asks for a mark.
func (s *Step) meets(g gear.State) bool {
	return g == s.Gear || g == gear.InGear && s.Gear == gear.Drive
}

// selectGear asks for the step's gear, and for the helper's mark where the car cannot tell it.
func (s *Step) selectGear(seen gear.State) Saying {
	switch {
	case s.Gear == gear.Moving:
		return Saying{Kind: DoStep, Step: s.Key}
	case seen == gear.Moving:
		return told(DoStopHold)
	}
	return Saying{Kind: DoSelect, Gear: s.Gear, Mark: s.Gear == gear.Reverse || marksGear(seen)}
}

// marksGear reports whether a change from a gear state must be marked: Reverse is seldom reported apart from Drive, and
// cannot be inferred, so that it begins and ends with a mark.
func marksGear(seen gear.State) bool { return seen == gear.Unknown || seen == gear.Reverse }

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
	return s.OnBrake() && l.Running && s.meets(l.Gear.State) && l.RPM >= idleBelow
}
