package wire

import (
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
	"stumble/views/say"
)

// Sample is the state of a drive at one moment: {"kind":"sample",...}.
type Sample struct {
	Kind       string      `json:"kind"`
	Time       Stamp       `json:"time"`
	Seconds    Number      `json:"seconds"` // since the drive began
	Gear       gear.State  `json:"gear"`
	GearNumber *int        `json:"gear_number"` // forward gear, 1 the lowest
	Origin     gear.Origin `json:"origin"`      // who says which gear state it is
	RPM        Number      `json:"rpm"`
	Load       Number      `json:"load"`     // percent
	Speed      Number      `json:"speed"`    // km/h
	Throttle   Number      `json:"throttle"` // percent
	Coolant    Number      `json:"coolant"`  // degrees Celsius
	Running    bool        `json:"running"`
	MIL        string      `json:"mil"` // "off", "on", "flashing", "not known"
	Cylinders  []Cylinder  `json:"cylinders"`
	EaseOff    bool        `json:"ease_off"` // misfire that can overheat the catalyst is going on
	Alert      Word        `json:"alert"`
	Link       Word        `json:"link"` // null while all is well
	Step       *Step       `json:"step"` // null when no guided step runs
	Exchanges  Exchanges   `json:"exchanges"`
}

// Cylinder is what is known of one cylinder so far.
type Cylinder struct {
	Cylinder int  `json:"cylinder"`
	Reported bool `json:"reported"` // the car has a counter for it
	New      int  `json:"new"`      // by how much its counter rose in the newest second
	Rate
	Age Number `json:"age_seconds"` // since its counter was last read
}

// Step is the guided test step that runs.
type Step struct {
	Number  int    `json:"number"`
	Of      int    `json:"of"`
	Name    string `json:"name"`
	Left    Number `json:"seconds_left"`
	Firings Number `json:"firings"`
	Needed  Number `json:"firings_needed"`
}

// Summary is what a drive has told: {"kind":"summary",...}.
type Summary struct {
	Kind        string       `json:"kind"`
	Start       Stamp        `json:"start"`
	End         Stamp        `json:"end"`
	Seconds     Number       `json:"seconds"`
	Running     Number       `json:"running_seconds"`
	Cycles      int          `json:"driving_cycles"`
	Vehicle     Vehicle      `json:"vehicle"`
	Engine      Engine       `json:"engine"`
	Refresh     Refresh      `json:"refresh"`
	Cells       []Cell       `json:"cells"`
	ByGear      []Cell       `json:"by_gear"`
	Total       []Cell       `json:"total"`
	Verdict     Verdict      `json:"verdict"`
	WholeEngine Whole        `json:"whole_engine"`
	Unknown     Unknown      `json:"unknown"`
	Unmonitored Number       `json:"unmonitored_seconds"`
	MIL         string       `json:"mil"`
	EaseOff     bool         `json:"ease_off"`
	Averages    []Average    `json:"averages"`
	Idle        []Idle       `json:"idle_dips"` // of a car without counts; weaker evidence
	Exchanges   Exchanges    `json:"exchanges"`
	Causes      *CausesBrief `json:"causes"` // null when there is nothing to explain
	Notes       []string     `json:"notes"`
}

// Vehicle names the vehicle.
type Vehicle struct {
	VIN  Word `json:"vin"`
	Name Word `json:"name"`
}

// Engine is the layout that cylinders are told apart by.
type Engine struct {
	Layout      string `json:"layout"` // key of the table of layouts
	Cylinders   int    `json:"cylinders"`
	FiringOrder []int  `json:"firing_order"`
	Map         string `json:"map"` // cylinders of the car's misfire monitors in turn: "1,2,3,4"
}

// Refresh is how often the car's counts move.
type Refresh struct {
	Kind        string `json:"kind"` // "unknown", "at_once", "revolutions", "seconds", "key_off"
	Revolutions Number `json:"revolutions"`
	Seconds     Number `json:"seconds"`
	Rises       int    `json:"rises"` // rises of a counter behind the finding
}

// Cell is the rate of one cylinder in one condition ("cells"), gear state ("by_gear") or drive ("total").
// Fields that have no meaning there are left out.
type Cell struct {
	Cylinder  int          `json:"cylinder"`
	Gear      *gear.State  `json:"gear,omitempty"`
	LoadBand  string       `json:"load_band,omitempty"`
	RPMBand   string       `json:"rpm_band,omitempty"`
	Warm      *bool        `json:"warm,omitempty"`
	Origin    *gear.Origin `json:"origin,omitempty"`
	Reported  bool         `json:"reported"` // false: the car has no counter for it, and nothing is known
	Misses    Number       `json:"misses"`
	Firings   Number       `json:"firings"`
	Seconds   Number       `json:"seconds"`
	Rate      Number       `json:"rate"`     // per 1,000 firings, with 95 % limits
	Low       Number       `json:"low"`      //
	High      Number       `json:"high"`     // null when only "at least" is known
	AtLeast   bool         `json:"at_least"` // the counter stood at its end
	Mixed     Number       `json:"mixed"`    // share of firings in stretches that span several conditions, 0 to 1
	Apart     bool         `json:"apart"`    // false while such a stretch cannot be shared out for sure
	Judged    bool         `json:"judged"`   // enough was seen to judge bursts
	Bursts    bool         `json:"bursts"`
	Widened   Number       `json:"dispersion"` // misses and firings were divided by it for the limits; 1 is not at all
	Worsening bool         `json:"worsening"`
	Since     Stamp        `json:"worse_since"`
	Still     bool         `json:"still"` // the counter stands still beyond chance; what ran since is left out
}

// Verdict is what the drive shows.
type Verdict struct {
	Sentence  string `json:"sentence"`
	Cylinders []int  `json:"cylinders"`  // those that miss more than a healthy one may
	Now       []int  `json:"now"`        // those that have missed too much so far, in too little running to call them bad
	Dead      []int  `json:"dead"`       // of the cylinders, those that do not fire at all
	WorseIn   Word   `json:"worse_in"`   // gear state in which the first of them is worse
	AboveLoad *int   `json:"above_load"` // percent of load above which it is worse on the move
	Worsening []int  `json:"worsening"`
	Random    bool   `json:"random"` // misses, but no cylinder stands out
	Bank      *int   `json:"bank"`   // that misses as a whole, or that all cylinders named lie on
	Clash     *Clash `json:"clash"`  // codes that name other cylinders than the counts; null where none do
}

// Clash is codes that name other cylinders than the counts.
type Clash struct {
	Coded     []int  `json:"coded"`     // cylinders of the codes
	Counted   []int  `json:"counted"`   // cylinders of the counts, the worst first
	Numbering string `json:"numbering"` // "open", "by_firing_order" (then both mean the same cylinders), "told" (by a map)
}

// Whole is the whole engine's percentages over the two blocks of crank revolutions.
type Whole struct {
	Catalyst Block `json:"catalyst"`
	Emission Block `json:"emission"`
}

// Block is one of them, in percent.
type Block struct {
	Revolutions Number `json:"revolutions"`
	Last        Number `json:"last"`
	Worst       Number `json:"worst"`
	Limit       Number `json:"limit"`
	Reported    bool   `json:"limit_reported"` // the limit is the car's own
	Blocks      int    `json:"blocks"`
	Over        int    `json:"over"`
}

// Unknown is running that could not be laid to any condition.
type Unknown struct {
	Seconds Number `json:"seconds"`
	Misses  int    `json:"misses"`
}

// Average is the car's own average of a cylinder, in misses a driving cycle.
type Average struct {
	Cylinder int    `json:"cylinder"`
	Misses   Number `json:"misses_per_cycle"`
}

// Idle is how often the idle dipped in one gear state. A dip is not a miss.
type Idle struct {
	Gear      gear.State `json:"gear"`
	Dips      int        `json:"dips"`
	Minutes   Number     `json:"minutes"`    // of steady idle
	PerMinute Number     `json:"per_minute"` // with 95 % limits
	Low       Number     `json:"low"`
	High      Number     `json:"high"`
}

// Exchanges is how the adapter is doing.
type Exchanges struct {
	Count     int    `json:"count"`
	PerSecond Number `json:"per_second"`
}

// Mark is a mark of the drive: {"kind":"mark",...}.
type Mark struct {
	Kind    string `json:"kind"`
	Time    Stamp  `json:"time"`
	Seconds Number `json:"seconds"` // since the drive began
	Text    string `json:"text"`
	Gear    Word   `json:"gear"` // the state that was marked; null for any other note
}

// Notice is something the user should know that is no reading: {"kind":"notice",...}.
type Notice struct {
	Kind string `json:"kind"`
	Time Stamp  `json:"time"`
	Text string `json:"text"`
}

// NewSample is a state as a line. Without a summary everything in it is unknown.
func NewSample(s *views.State) Sample {
	line := Sample{
		Kind: "sample", MIL: misfire.MILUnknown.String(), Cylinders: []Cylinder{},
		RPM: unknown(), Load: unknown(), Speed: unknown(), Throttle: unknown(), Coolant: unknown(), Seconds: unknown(),
		Alert: Word(s.Warning()), Link: Word(s.Health.Link), Step: stepObject(s.Step), Exchanges: exchangesObject(s.Health),
	}
	if s.Summary == nil {
		return line
	}
	live := s.Summary.Live
	line.Time, line.Seconds = Stamp(s.Summary.Now), rounded(s.Summary.Now.Sub(s.Summary.Start).Seconds())
	line.Gear, line.Origin = live.Gear.State, live.Gear.Origin
	if live.Gear.Number > 0 {
		line.GearNumber = &live.Gear.Number
	}
	line.RPM, line.Load, line.Speed = rounded(live.RPM), rounded(live.Load), rounded(live.Speed)
	line.Throttle, line.Coolant = rounded(live.Throttle), rounded(live.Coolant)
	line.Running, line.MIL = live.Running, live.MIL.String()
	line.EaseOff = s.Summary.Verdict.EaseOff
	line.Cylinders = each(s.Summary.Total, func(c *misfire.Cell) Cylinder { return cylinderObject(s, c) })
	return line
}

func cylinderObject(s *views.State, c *misfire.Cell) Cylinder {
	o := Cylinder{Cylinder: c.Cylinder, Reported: c.Reported, Rate: counted(c.Reported, c.Estimate), Age: unknown()}
	index := c.Cylinder - 1
	if ages := s.Summary.Live.CountAge; index >= 0 && index < len(ages) && ages[index] >= 0 {
		o.Age = rounded(ages[index].Seconds())
	}
	if n := len(s.Strip); n > 0 && index >= 0 && index < len(s.Strip[n-1].Misses) {
		o.New = int(s.Strip[n-1].Misses[index])
	}
	return o
}

func stepObject(st *views.Step) *Step {
	if st == nil {
		return nil
	}
	return &Step{st.Number, st.Of, st.Name, rounded(st.Left.Seconds()), rounded(st.Done), rounded(st.Needed)}
}

func exchangesObject(h views.Health) Exchanges {
	return Exchanges{h.Exchanges, rounded(h.PerSecond)}
}

// NewSummary is the summary of a state as an object. A state without a summary gives one in which nothing was seen.
func NewSummary(s *views.State) Summary {
	sum := s.Summary
	if sum == nil {
		sum = &misfire.Summary{}
	}
	return Summary{
		Kind: "summary", Start: Stamp(sum.Start), End: Stamp(sum.Now),
		Seconds: rounded(sum.Now.Sub(sum.Start).Seconds()), Running: rounded(sum.Running.Seconds()), Cycles: sum.Cycles,
		Vehicle: Vehicle{Word(s.VIN), Word(s.Title)},
		Engine:  Engine{sum.Engine.Key, sum.Engine.Cylinders, list(sum.Engine.FiringOrder), sum.Map.String()},
		Refresh: refreshObject(sum.Refresh),
		Cells:   each(sum.Cells, inCondition), ByGear: each(sum.ByGear, inGear), Total: each(sum.Total, inDrive),
		Verdict:     verdictObject(sum),
		WholeEngine: Whole{blockObject(sum.Whole.Catalyst), blockObject(sum.Whole.Emission)},
		Unknown:     Unknown{rounded(sum.Unknown.Running.Seconds()), sum.Unknown.Misses},
		Unmonitored: rounded(sum.Unmonitored.Seconds()), MIL: sum.Live.MIL.String(), EaseOff: sum.Verdict.EaseOff,
		Averages: each(sum.Averages, averageObject), Idle: each(sum.Idle, idleObject), Exchanges: exchangesObject(s.Health), Notes: list(say.English().Notes(sum)),
		Causes: NewCausesBrief(s.Causes),
	}
}

func refreshObject(r misfire.Refresh) Refresh {
	o := Refresh{Kind: "unknown", Revolutions: unknown(), Seconds: unknown(), Rises: r.Rises}
	switch r.Kind {
	case misfire.RefreshAtOnce:
		o.Kind = "at_once"
	case misfire.RefreshRevolutions:
		o.Kind, o.Revolutions = "revolutions", rounded(r.Revolutions)
	case misfire.RefreshSeconds:
		o.Kind, o.Seconds = "seconds", rounded(r.Seconds)
	case misfire.RefreshKeyOff:
		o.Kind = "key_off"
	}
	return o
}

// inCondition, inGear and inDrive are a cell with what has meaning in each of the three lists.
func inCondition(c *misfire.Cell) Cell {
	o := inGear(c)
	o.LoadBand, o.RPMBand, o.Warm = c.Condition.Load.String(), c.Condition.RPM.String(), &c.Condition.Warm
	return o
}

func inGear(c *misfire.Cell) Cell {
	o := inDrive(c)
	o.Gear, o.Origin = &c.Condition.Gear, &c.Origin
	return o
}

func inDrive(c *misfire.Cell) Cell {
	r := counted(c.Reported, c.Estimate)
	return Cell{
		Cylinder: c.Cylinder, Reported: c.Reported, Misses: r.Misses, Firings: r.Firings, Seconds: rounded(c.Running.Seconds()),
		Rate: r.Rate, Low: r.Low, High: r.High, AtLeast: c.AtLeast, Mixed: rounded(c.Mixed), Apart: c.Apart, Judged: c.Judged,
		Bursts: c.Bursts, Widened: rounded(c.Phi), Worsening: c.Worsening, Since: Stamp(c.Since), Still: c.Still,
	}
}

func verdictObject(s *misfire.Summary) Verdict {
	v := s.Verdict
	o := Verdict{Sentence: say.English().Verdict(s), Cylinders: list(v.Cylinders), Now: list(v.Now), Dead: list(v.Dead), Worsening: list(v.Worsening), Random: v.Random}
	if v.WorseIn != gear.Unknown {
		o.WorseIn = Word(v.WorseIn.String())
	}
	if v.Bank > 0 {
		o.Bank = &v.Bank
	}
	if c := v.Clash; c != nil {
		words := [...]string{misfire.NumberingOpen: "open", misfire.NumberingByOrder: "by_firing_order", misfire.NumberingTold: "told"}
		o.Clash = &Clash{list(c.Coded), list(c.Counted), words[c.Numbering]}
	}
	if v.AboveLoad > 0 {
		o.AboveLoad = &v.AboveLoad
	}
	return o
}

func blockObject(b misfire.Block) Block {
	return Block{rounded(b.Revolutions), rounded(b.Last), rounded(b.Worst), rounded(b.Limit), b.Reported, b.Blocks, b.Over}
}

func averageObject(a *misfire.Average) Average { return Average{a.Cylinder, rounded(a.Value)} }

func idleObject(d *misfire.IdleDips) Idle {
	return Idle{d.Gear, d.Dips, rounded(d.Minutes), rounded(d.PerMinute()), rounded(d.Low), rounded(d.High)}
}

// NewMark is a mark as a line; start is when the drive began.
func NewMark(m views.Mark, start time.Time) Mark {
	line := Mark{Kind: "mark", Time: Stamp(m.At), Seconds: unknown(), Text: m.Text}
	if !start.IsZero() {
		line.Seconds = rounded(m.At.Sub(start).Seconds())
	}
	if m.Gear != gear.Unknown {
		line.Gear = Word(m.Gear.String())
	}
	return line
}

// NewNotice is a notice as a line.
func NewNotice(at time.Time, text string) Notice { return Notice{"notice", Stamp(at), text} }
