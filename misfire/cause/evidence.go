package cause

import (
	"math"
	"slices"

	"stumble/misfire"
	"stumble/misfire/bench"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
)

// Place is where misses were counted: what an engine is asked for there.
type Place uint8

// Places.
const (
	IdleNeutral Place = iota // at rest in Park or Neutral, under 1,500 rpm
	IdleGear                 // at rest in Drive or Reverse
	Raised                   // at rest in Park or Neutral, 1,500 rpm and more
	Cruise                   // on the move, load of 20 to 60 %
	Pull                     // on the move, load of 60 % and more, under 3,000 rpm
	Fast                     // the same, 3,000 rpm and more
	Places      = iota
)

// placeOf is where a condition belongs; false for overrun and running of no known gear.
func placeOf(c misfire.Condition) (Place, bool) {
	light, heavy, raised, fast := misfire.BandOfLoad(20), misfire.BandOfLoad(60), misfire.BandOfRPM(1500), misfire.BandOfRPM(3000)
	switch c.Gear {
	case gear.ParkNeutral:
		if c.RPM >= raised {
			return Raised, true
		}
		return IdleNeutral, true
	case gear.Drive, gear.Reverse, gear.InGear:
		return IdleGear, true
	case gear.Moving:
		if c.Load >= heavy && c.RPM >= fast {
			return Fast, true
		}
		if c.Load >= heavy {
			return Pull, true
		}
		return Cruise, c.Load >= light
	}
	return 0, false
}

// Count is misses and firings, with how many independent misses say as much (misses over their dispersion).
type Count struct {
	Misses, Firings, Effective float64
}

func (c *Count) add(o Count) {
	c.Misses += o.Misses
	c.Firings += o.Firings
	c.Effective += o.Effective
}

// Rate is misses per 1,000 firings; NaN without firings.
func (c Count) Rate() float64 {
	if c.Firings == 0 {
		return math.NaN()
	}
	return 1000 * c.Misses / c.Firings
}

// phi is the dispersion of the misses.
func (c Count) phi() float64 {
	if c.Effective == 0 {
		return 1
	}
	return max(1, c.Misses/c.Effective)
}

// Cylinder is what was counted of one cylinder.
type Cylinder struct {
	Total     Count
	At        [Places][2]Count // by place, cold and warm
	Judged    bool             // enough to judge bursts somewhere
	Bursts    bool
	Worsening bool
	Counted   bool // the car has a counter for it
}

// at is the count in a place, cold and warm together.
func (c *Cylinder) at(p Place) Count {
	sum := c.At[p][0]
	sum.add(c.At[p][1])
	return sum
}

// slowPull stands for running under load below 3,000 rpm where Pull stands for all of it.
const slowPull = Place(Places)

// made is the places that a kind of running is made of.
func (p Place) made() []Place {
	switch p {
	case Pull:
		return []Place{Pull, Fast}
	case slowPull:
		return []Place{Pull}
	}
	return []Place{p}
}

// running is the count in a kind of running, cold and warm together.
func (c *Cylinder) running(p Place) (sum Count) {
	for _, q := range p.made() {
		sum.add(c.at(q))
	}
	return sum
}

// mostMisses is how many independent misses of one side are weighed. More of the same drive, or of one driven alike, say
// the same again: what a rate is in other weather and other hands they do not tell. Judgement.
const mostMisses = 40

// capped is a count that weighs no more than it may, its rate as it is.
func capped(c Count) Count {
	if k := mostMisses / c.Effective; k < 1 {
		return Count{c.Misses * k, c.Firings * k, c.Effective * k}
	}
	return c
}

// Frame is what a freeze frame tells of the moment of a misfire code; NaN where it does not.
type Frame struct {
	Load, RPM, Coolant, Speed float64 // %, rpm, degrees Celsius, km/h
}

// Codes are the trouble codes of a car.
type Codes struct {
	Read    bool // they were asked for
	Cleared bool // they were cleared lately: that a code is absent says nothing
	Set     []obd.Code
	Frame   *Frame // of a misfire code; nil without one
}

// Finding is how a test came out, by its weights over the outcomes that tests.csv names for it.
type Finding struct {
	Test    string
	Weights []float64
	Found   Telling
}

// Evidence is all that is known of a case.
type Evidence struct {
	Engine    engine.Layout
	Ignition  Ignition
	Cylinders []Cylinder // cylinder 1 first; empty without counts
	Last      []float64  // misses that the car itself counted in its last driving cycle, cylinder 1 first; empty when not read
	Trims     Trims
	Heat      Heat
	Codes     Codes
	Dips      [2]Tally  // idle dips in Park or Neutral and in gear, among tenths of a second; of cars without counts
	Findings  []Finding // of tests by hand that are told as they came out
	Swaps     []proof.SwapResult
	Bench     []bench.Judgement
	Told      []Symptom // what the driver or owner reports
	Drives    int       // drives behind the counts
	Accused   []int     // cylinders that the verdicts of the drives name; empty where they name none
	// Clash is codes that name other cylinders than the counts of a drive; nil where none do.
	Clash *misfire.Clash
}

// Drive is one drive as it is given to Gather.
type Drive struct {
	Summary   *misfire.Summary
	Collector *Collector // fed along with its tally; may be nil
}

// Gather makes evidence of drives and of what the car said of itself. intake may be nil. The engine is that of the
// first drive that tells one.
func Gather(drives []Drive, intake *obd.Intake, ignition Ignition) Evidence {
	e := Evidence{Ignition: ignition}
	for i := range drives {
		if !slices.ContainsFunc(drives[:i], drives[i].same) {
			e.addDrive(&drives[i])
		}
	}
	if intake != nil {
		e.AddCodes(&intake.CodeReport)
		e.Codes.Cleared = cleared(intake)
		e.Last = lastCycle(intake.Tests)
		if e.Trims == (Trims{}) {
			e.Trims = liveTrims(intake)
		}
	}
	return e
}

// same reports whether another drive is this one over again, which tells nothing new.
func (d *Drive) same(o Drive) bool {
	if d.Summary == o.Summary {
		return true
	}
	s, t := d.Summary, o.Summary
	return s.Engine.Key == t.Engine.Key && !s.Start.IsZero() && s.Start.Equal(t.Start) && s.Now.Equal(t.Now) &&
		slices.EqualFunc(s.Total, t.Total, func(a, b misfire.Cell) bool { return a.Misses == b.Misses && a.Firings == b.Firings })
}

func (e *Evidence) addDrive(d *Drive) {
	s := d.Summary
	for _, cyl := range slices.Concat(s.Verdict.Cylinders, s.Verdict.Now, []int{s.Verdict.Foremost}) {
		if cyl > 0 && !slices.Contains(e.Accused, cyl) {
			e.Accused = append(e.Accused, cyl)
		}
	}
	if e.Engine.Cylinders == 0 || len(e.Engine.FiringOrder) == 0 && len(s.Engine.FiringOrder) > 0 {
		e.Engine = s.Engine
	}
	if d.Collector != nil {
		e.Trims.Add(d.Collector.trims)
		e.Heat.Add(&d.Collector.heat)
	}
	e.Drives++
	if e.Clash == nil && s.Verdict.Clash.Open() {
		e.Clash = s.Verdict.Clash
	}
	e.addDips(s.Idle)
	for i := range s.Total {
		c := &s.Total[i]
		if !c.Reported {
			continue
		}
		to := e.cylinder(c.Cylinder)
		to.Counted = true
		to.Total.add(countOf(c))
		to.Worsening = to.Worsening || c.Worsening
	}
	for i := range s.Cells {
		c := &s.Cells[i]
		place, ok := placeOf(c.Condition)
		if !ok || !c.Reported {
			continue
		}
		to := e.cylinder(c.Cylinder)
		warm := 0
		if c.Condition.Warm {
			warm = 1
		}
		to.At[place][warm].add(countOf(c))
		to.Judged = to.Judged || c.Judged
		to.Bursts = to.Bursts || c.Bursts
	}
}

// countOf is a cell's count; where a lump cannot be told apart only what is unmixed.
func countOf(c *misfire.Cell) Count {
	if !c.Known() {
		return Count{}
	}
	misses, firings := c.Misses, c.Firings
	if !c.Apart {
		misses, firings = c.Decides.Misses, c.Decides.Firings
	}
	// While bursts cannot be told, limits make room for any; as evidence between causes each second miss counts.
	const untold = 2
	phi := c.Phi
	if !c.Judged {
		phi = min(phi, untold)
	}
	return Count{Misses: misses, Firings: firings, Effective: misses / max(1, phi)}
}

func (e *Evidence) cylinder(n int) *Cylinder {
	for len(e.Cylinders) < n {
		e.Cylinders = append(e.Cylinders, Cylinder{})
	}
	return &e.Cylinders[n-1]
}

// dipsOf is the tenths of a second of a minute.
const dipsOf = 600

func (e *Evidence) addDips(idle []misfire.IdleDips) {
	for _, d := range idle {
		at := 1
		switch d.Gear {
		case gear.ParkNeutral:
			at = 0
		case gear.Drive, gear.Reverse, gear.InGear:
		default:
			continue
		}
		e.Dips[at].add(Tally{Misses: float64(d.Dips), Firings: d.Minutes * dipsOf})
	}
}

// AddCodes takes trouble codes.
func (e *Evidence) AddCodes(r *obd.CodeReport) {
	e.Codes.Read = e.Codes.Read || len(r.Unread) == 0
	for _, m := range r.Modules {
		for _, list := range [...][]obd.Code{m.Stored, m.Pending, m.Permanent} {
			for _, code := range list {
				if !slices.Contains(e.Codes.Set, code) {
					e.Codes.Set = append(e.Codes.Set, code)
				}
			}
		}
	}
	slices.Sort(e.Codes.Set)
	for _, f := range r.Frames {
		if e.Codes.Frame == nil && isMisfire(f.Code) {
			e.Codes.Frame = frameOf(f)
		}
	}
}

// isMisfire reports whether a code is of misfire, of one cylinder or of several.
func isMisfire(c obd.Code) bool {
	_, one := c.MisfireCylinder()
	return one || c == severalMiss
}

const severalMiss obd.Code = 0x0300

func frameOf(f obd.FreezeFrame) *Frame {
	nan := math.NaN()
	out := &Frame{nan, nan, nan, nan}
	for _, r := range f.Readings {
		switch r.ID {
		case obd.PIDLoad:
			out.Load = r.Value
		case obd.PIDRPM:
			out.RPM = r.Value
		case obd.PIDCoolant:
			out.Coolant = r.Value
		case obd.PIDSpeed:
			out.Speed = r.Value
		}
	}
	return out
}

// cleared reports whether the monitors that take long are not complete: after a clear no code is no comfort.
func cleared(in *obd.Intake) bool {
	const many = 3
	for _, m := range in.Modules {
		if m.Monitors != nil && m.Monitors.Incomplete() >= many {
			return true
		}
	}
	return false
}

// lastCycle is the car's own counts of an intake: those of the last driving cycle until the engine starts, then of this
// one.
func lastCycle(tests []obd.TestResult) (misses []float64) {
	for _, r := range tests {
		cylinder, ok := obd.MisfireCylinder(r.MID, tests)
		if !ok || r.TID != obd.TIDCount || r.NotRun {
			continue
		}
		for len(misses) < cylinder {
			misses = append(misses, 0)
		}
		misses[cylinder-1] = max(misses[cylinder-1], r.Value)
	}
	return misses
}

// count is how many cylinders the engine has, as far as anything tells.
func (e *Evidence) count() int { return max(len(e.Cylinders), len(e.Last), e.Engine.Cylinders) }

// liveTrims are the trims of one reading of the car at rest.
func liveTrims(in *obd.Intake) Trims {
	var c Collector
	for i := range in.Live {
		c.take(&in.Live[i], in.At)
	}
	var t Trims
	place, found := trimPlace(&c.car)
	if !found || !c.closed() {
		return t
	}
	for bank := range t {
		if c.have[bank] == [2]bool{true, true} {
			t[bank][place] = Trim{Mean: c.short[bank] + c.long[bank], Samples: 1}
		}
	}
	return t
}

// counted reports whether there are counts to go by.
func (e *Evidence) counted() bool {
	return slices.ContainsFunc(e.Cylinders, func(c Cylinder) bool { return c.Counted && c.Total.Firings > 0 })
}

// misses reports whether some cylinder, or all together, miss more in some place than a healthy engine does; a few
// misses tell nothing.
func (e *Evidence) misses() bool {
	const few = 3
	more := func(n Count) bool { return n.Misses >= few && n.Rate() > rate.Ceiling }
	var all [Places]Count
	for i := range e.Cylinders {
		for p := range Places {
			n := e.Cylinders[i].at(Place(p))
			all[p].add(n)
			if more(n) {
				return true
			}
		}
	}
	return slices.ContainsFunc(all[:], more)
}
