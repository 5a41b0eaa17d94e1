package wire

import (
	"math"

	"stumble/misfire/gear"
	"stumble/misfire/job"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/views/report"
	"stumble/views/say"
)

// Comparison is a comparison: {"kind":"comparison",...}.
type Comparison struct {
	Kind        string             `json:"kind"`
	Job         int64              `json:"job"` // 0 where the drives are of several
	Vehicle     Word               `json:"vehicle"`
	Between     string             `json:"between"` // what parts the drives: "repair", "swap", "clear", "named", "nothing"
	Outcome     string             `json:"outcome"` // "proven", "improved", "not_yet", "still_missing", "moved", "nothing_told"
	Sentence    string             `json:"sentence"`
	Before      []ComparedDrive    `json:"before"`
	After       []ComparedDrive    `json:"after"`
	Chosen      Word               `json:"chosen"` // by which rule the drives were chosen
	Cells       []ComparedCell     `json:"cells"`
	Cylinders   []ComparedCylinder `json:"cylinders"` // that failed before, the worst first
	Ratio       Number             `json:"ratio"`     // of the worst cylinder, over all that is alike; null when there is not one ratio
	Low         Number             `json:"low"`
	High        Number             `json:"high"`
	Needed      []Need             `json:"needed"`
	Checks      []Check            `json:"checks"`
	Newcomers   []Newcomer         `json:"newcomers"`
	NotCompared []Alone            `json:"not_compared"`
	Swap        *Swap              `json:"swap"` // null when no part was exchanged
	Codes       *CodeChange        `json:"codes"`
	Readiness   *Readiness         `json:"readiness"`
	Rules       []Rule             `json:"rules"`
	RPM         Number             `json:"rpm_tolerance"`
	Load        Number             `json:"load_tolerance"` // points of calculated load
	Ceiling     Number             `json:"ceiling"`        // per 1,000 firings
	Causes      *CausesBrief       `json:"causes"`         // null unless it misses still
	Notes       []string           `json:"notes"`
}

// ComparedDrive is one drive of a comparison.
type ComparedDrive struct {
	Drive   int64  `json:"drive"`
	Start   Stamp  `json:"start"`
	Seconds Number `json:"seconds"`
	Running Number `json:"running_seconds"`
}

// ComparedCylinder is one cylinder that failed before.
type ComparedCylinder struct {
	Cylinder int           `json:"cylinder"`
	Outcome  proof.Outcome `json:"outcome"`
	Sentence string        `json:"sentence"`
	Ratio    Number        `json:"ratio"`
	Low      Number        `json:"low"`
	High     Number        `json:"high"`
}

// ComparedCell is one condition of one cylinder, before and after.
type ComparedCell struct {
	Cylinder    int            `json:"cylinder"`
	Level       string         `json:"level"` // "fine", "gear", "frame"
	Gear        *gear.State    `json:"gear"`  // null where a freeze frame does not tell
	LoadBand    Word           `json:"load_band"`
	RPMBand     Word           `json:"rpm_band"`
	Warm        *bool          `json:"warm"`
	Origin      gear.Origin    `json:"origin"`
	Code        *obd.Code      `json:"code"` // that stored the freeze frame
	RPM         Number         `json:"rpm"`  // where it ran before
	Load        Number         `json:"load"`
	Failing     bool           `json:"failing"` // it missed here before: the repair is judged here
	Outcome     *proof.Outcome `json:"outcome"` // null where it is not
	Before      Rate           `json:"before"`
	After       Rate           `json:"after"`
	Ratio       Number         `json:"ratio"`
	Low         Number         `json:"low"`
	High        Number         `json:"high"`
	Dispersion  Number         `json:"dispersion"`
	FalseChance Number         `json:"false_chance"`
	Firings     Number         `json:"firings_needed"`
	Minutes     Number         `json:"minutes_needed"`
	Sentence    Word           `json:"sentence"`
}

// Rate is misses and firings, and their rate per 1,000 firings with 95 % limits.
type Rate struct {
	Misses  Number `json:"misses"`
	Firings Number `json:"firings"`
	Rate    Number `json:"rate"`
	Low     Number `json:"low"`
	High    Number `json:"high"`
}

// Need is running that would decide it.
type Need struct {
	Gear    *gear.State `json:"gear"` // null for whatever gear
	Minutes Number      `json:"minutes"`
	Firings Number      `json:"firings"`
	RPM     Number      `json:"rpm"`
	Load    Number      `json:"load"`
	Warm    *bool       `json:"warm"`
}

// Check is one more thing that a proof wants.
type Check struct {
	Text string `json:"text"`
	Met  bool   `json:"met"`
}

// Newcomer is a cylinder that fails after and did not before.
type Newcomer struct {
	Cylinder int        `json:"cylinder"`
	Gear     gear.State `json:"gear"`
	Rate     Rate       `json:"rate"`
	Chance   Number     `json:"chance"`
	Moved    bool       `json:"moved"` // it ran so before, and missed less
}

// Alone is a condition that one side alone ran in.
type Alone struct {
	Side     string     `json:"side"` // "before", "after"
	Gear     gear.State `json:"gear"`
	LoadBand string     `json:"load_band"`
	RPMBand  string     `json:"rpm_band"`
	Warm     bool       `json:"warm"`
	Firings  Number     `json:"firings"`
}

// Swap is how a swap came out.
type Swap struct {
	Part     string            `json:"part"`
	From     int               `json:"from"` // the cylinder that missed before
	To       int               `json:"to"`   // the one that got its part
	Verdict  proof.SwapVerdict `json:"verdict"`
	Odds     Number            `json:"odds"` // so many to 1
	Sentence string            `json:"sentence"`
	Needed   []Need            `json:"needed"`
	Notes    []string          `json:"notes"`
}

// CodeChange is the trouble codes before and after.
type CodeChange struct {
	ReadBefore Stamp    `json:"read_before"`
	ReadAfter  Stamp    `json:"read_after"`
	Stored     Change   `json:"stored"`
	Pending    Change   `json:"pending"`
	Permanent  Change   `json:"permanent"`
	Sentences  []string `json:"sentences"`
}

// Change is one list of codes before and after.
type Change struct {
	Gone []obd.Code `json:"gone"`
	Kept []obd.Code `json:"kept"`
	New  []obd.Code `json:"new"`
}

// Readiness is how an inspection would take the car's monitors.
type Readiness struct {
	Ready      bool          `json:"ready"`
	Incomplete []obd.Monitor `json:"incomplete"`
	Allowed    int           `json:"allowed"`
	Text       string        `json:"text"`
}

// Rule is one thing that the car does by itself, and how far it has come.
type Rule struct {
	Name   string `json:"name"`
	Done   Number `json:"done"`
	Need   Number `json:"need"`
	Unit   string `json:"unit"`
	Known  bool   `json:"known"`
	Met    bool   `json:"met"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

// NewComparison is a comparison as an object.
func NewComparison(c *report.Comparison) Comparison {
	r, w := c.Result, say.English()
	o := Comparison{
		Kind: "comparison", Job: c.Job, Vehicle: Word(c.Vehicle), Between: between(c.Between), Outcome: r.Outcome.String(), Sentence: ComparisonSentence(c), Before: each(c.Before, comparedDrive), After: each(c.After, comparedDrive),
		Chosen: Word(c.Chosen), Cells: []ComparedCell{}, Cylinders: []ComparedCylinder{}, Ratio: unknown(), Low: unknown(), High: unknown(),
		Needed: each(r.Needed, needObject), Checks: each(r.Checks, checkObject), Newcomers: each(r.Newcomers, newcomerObject), NotCompared: each(r.NotCompared, aloneObject),
		Swap: swapObject(c.Swap), Codes: codeChangeObject(r.Codes, c.Codes), Readiness: readinessObject(c.Readiness), Rules: each(c.Rules, ruleObject),
		RPM: rounded(r.Tolerance.RPM), Load: rounded(r.Tolerance.Load), Ceiling: rounded(r.Ceiling), Notes: list(w.ComparisonNotes(r)),
		Causes: NewCausesBrief(c.Causes),
	}
	switch {
	case c.Swap != nil: // a swap is no repair that would want a proof
		o.Needed, o.Checks = []Need{}, []Check{}
	case c.Between == report.BetweenNothing:
		o.Outcome, o.Needed, o.Checks = job.Untold, []Need{}, []Check{}
	}
	for i := range r.Cylinders {
		cyl := &r.Cylinders[i]
		object := ComparedCylinder{Cylinder: cyl.Cylinder, Outcome: cyl.Outcome, Sentence: w.Cylinder(cyl), Ratio: unknown(), Low: unknown(), High: unknown()}
		if cyl.OneRatio {
			object.Ratio, object.Low, object.High = rounded(cyl.Overall.Ratio), rounded(cyl.Overall.Low), rounded(cyl.Overall.High)
		}
		if i == 0 {
			o.Ratio, o.Low, o.High = object.Ratio, object.Low, object.High
		}
		o.Cylinders = append(o.Cylinders, object)
		for j := range cyl.Conditions {
			o.Cells = append(o.Cells, comparedCell(&cyl.Conditions[j]))
		}
	}
	return o
}

// between is what parts the drives, as scripts read it.
func between(b report.Between) string {
	return [...]string{report.BetweenRepair: "repair", report.BetweenSwap: "swap", report.BetweenClear: "clear",
		report.BetweenNamed: "named", report.BetweenNothing: "nothing"}[b]
}

// ComparisonSentence is what a comparison comes to, in a sentence: of a swap how it came out.
func ComparisonSentence(c *report.Comparison) string {
	w := say.English()
	switch {
	case c.Swap != nil:
		return w.Swap(c.Swap)
	case c.Between == report.BetweenNothing:
		return w.Untold(c.Result)
	}
	return w.Comparison(c.Result)
}

func comparedDrive(d *report.Compared) ComparedDrive {
	s := d.Summary
	return ComparedDrive{d.Drive, Stamp(s.Start), rounded(s.Now.Sub(s.Start).Seconds()), rounded(s.Running.Seconds())}
}

func comparedCell(c *proof.Condition) ComparedCell {
	o := ComparedCell{
		Cylinder: c.Cylinder, Level: [...]string{proof.Fine: "fine", proof.WholeGear: "gear", proof.Frame: "frame"}[c.Level], Origin: c.Origin,
		RPM: rounded(c.At.RPM), Load: rounded(c.At.Load), Warm: warmObject(c.At.Warm), Failing: c.Failing,
		Before: rateObject(c.Before), After: rateObject(c.After), Ratio: rounded(c.Ratio.Ratio), Low: rounded(c.Ratio.Low), High: rounded(c.Ratio.High),
		Dispersion: rounded(c.Phi), FalseChance: unknown(), Firings: unknown(), Minutes: unknown(),
	}
	switch c.Level {
	case proof.Fine:
		o.Gear, o.LoadBand, o.RPMBand = &c.Where.Gear, Word(c.Where.Load.String()), Word(c.Where.RPM.String())
	case proof.WholeGear:
		o.Gear = &c.Where.Gear
	case proof.Frame:
		o.Code = &c.Code
	}
	if c.Failing {
		o.Outcome, o.FalseChance, o.Firings, o.Minutes = &c.Outcome, rounded(c.FalseChance), rounded(c.Missing), rounded(c.Minutes)
		o.Sentence = Word(say.English().Condition(c))
	}
	return o
}

// warmObject is a warm state; null when it is not known.
func warmObject(w proof.Warmth) *bool {
	if w == proof.WarmthUnknown {
		return nil
	}
	warm := w == proof.Warm
	return &warm
}

// counted is the rate of a cylinder; of one that the car does not report only its firings are known.
func counted(reported bool, e rate.Estimate) Rate {
	if !reported {
		return Rate{Misses: unknown(), Firings: rounded(e.Firings), Rate: unknown(), Low: unknown(), High: unknown()}
	}
	return rateObject(e)
}

func rateObject(e rate.Estimate) Rate {
	o := Rate{Misses: rounded(e.Misses), Firings: rounded(e.Firings), Rate: rounded(e.Rate), Low: rounded(e.Low), High: rounded(e.High)}
	if e.AtLeast {
		o.High = Number(math.Inf(1))
	}
	return o
}

func needObject(n *proof.Need) Need {
	o := Need{Minutes: rounded(n.Minutes), Firings: rounded(n.Firings), RPM: rounded(n.RPM), Load: rounded(n.At.Load), Warm: warmObject(n.At.Warm)}
	if n.Gear != gear.Unknown {
		o.Gear = &n.Gear
	}
	return o
}

func checkObject(c *proof.Check) Check { return Check{Text: say.English().Check(*c), Met: c.Met} }

func newcomerObject(n *proof.Newcomer) Newcomer {
	return Newcomer{Cylinder: n.Cylinder, Gear: n.Gear, Rate: rateObject(n.Rate), Chance: rounded(n.Chance), Moved: n.Moved}
}

func ruleObject(r *proof.Rule) Rule {
	said := say.English().Rule(*r)
	return Rule{Name: said.Happens, Done: rounded(r.Done), Need: rounded(r.Need), Unit: said.Unit, Known: r.Known, Met: r.Met,
		Text: said.Text, Source: said.Source}
}

func aloneObject(a *proof.Alone) Alone {
	side := "after"
	if a.Before {
		side = "before"
	}
	return Alone{Side: side, Gear: a.Where.Gear, LoadBand: a.Where.Load.String(), RPMBand: a.Where.RPM.String(), Warm: a.Where.Warm, Firings: rounded(a.Firings)}
}

func swapObject(s *proof.SwapResult) *Swap {
	if s == nil {
		return nil
	}
	w := say.English()
	return &Swap{Part: s.Part, From: s.From, To: s.To, Verdict: s.Verdict, Odds: rounded(s.Odds), Sentence: w.Swap(s),
		Needed: each(s.Needed, needObject), Notes: list(w.SwapNotes(s))}
}

func codeChangeObject(c *proof.CodeChange, read report.CodesRead) *CodeChange {
	if c == nil {
		return nil
	}
	change := func(c proof.Change) Change { return Change{list(c.Gone), list(c.Kept), list(c.New)} }
	return &CodeChange{Stamp(read.Before), Stamp(read.After), change(c.Stored), change(c.Pending), change(c.Permanent), list(say.English().CodeChange(c))}
}

func readinessObject(r *proof.Readiness) *Readiness {
	if r == nil {
		return nil
	}
	return &Readiness{Ready: r.Ready, Incomplete: list(r.Incomplete), Allowed: r.Allowed, Text: say.English().Readiness(r)}
}
