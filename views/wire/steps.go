package wire

import (
	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/misfire/proof"
	"stumble/views"
	"stumble/views/say"
	"time"
)

// Guide is an event of a guided test: {"kind":"step",...} of a load test, {"kind":"balance_step",...} of a balance test.
// Fields that the other kind has are left out.
type Guide struct {
	Kind     string  `json:"kind"`
	Event    string  `json:"event"`         // the word of guide.Kind
	Ask      string  `json:"ask,omitempty"` // the word of guide.Ask
	Time     Stamp   `json:"time"`
	Seconds  Number  `json:"seconds"`        // since the drive began
	Step     *Word   `json:"step,omitempty"` // its key; null when the test is over
	Name     *Word   `json:"name,omitempty"`
	Cylinder *Number `json:"cylinder,omitempty"` // null where none is meant
	Number   int     `json:"number"`
	Of       int     `json:"of"`
	Round    int     `json:"round,omitempty"`
	Text     string  `json:"text"` // what to do, or what became of it
	Left     Number  `json:"seconds_left"`
}

// NewGuide returns an event as a line; start is when the drive began.
func NewGuide(e *guide.Event, start time.Time) Guide {
	words := say.English()
	line := Guide{Kind: "step", Event: e.Kind.String(), Time: Stamp(e.At), Seconds: unknown(),
		Number: e.Number, Of: e.Of, Round: e.Round, Text: words.Saying(e.Say), Left: rounded(e.Left.Seconds())}
	if !start.IsZero() {
		line.Seconds = rounded(e.At.Sub(start).Seconds())
	}
	if e.Round > 0 {
		line.Kind, line.Ask, line.Cylinder = "balance_step", e.Ask.String(), new(Number)
		if *line.Cylinder = unknown(); e.Cylinder > 0 {
			*line.Cylinder = Number(e.Cylinder)
		}
		return line
	}
	line.Step, line.Name = new(Word), new(Word)
	if e.Step != nil {
		*line.Step, *line.Name = Word(e.Step.Key), Word(words.StepName(e.Step))
	}
	return line
}

// Filling is how far a proof has come while the drive runs that is to complete it: {"kind":"filling",...}.
type Filling struct {
	Kind      string            `json:"kind"`
	Time      Stamp             `json:"time"`
	Outcome   proof.Outcome     `json:"outcome"`
	Text      string            `json:"text"`
	Cylinders []FillingCylinder `json:"cylinders"`
}

// FillingCylinder is how much of the running that a cylinder wants has been run, from 0 to 1, and the minutes of each
// failing condition still to run.
type FillingCylinder struct {
	Cylinder   int                `json:"cylinder"`
	Filled     Number             `json:"filled"`
	Conditions []FillingCondition `json:"conditions"`
}

// FillingCondition is one failing condition.
type FillingCondition struct {
	Gear    *gear.State `json:"gear"` // null where a freeze frame does not tell
	RPM     Number      `json:"rpm"`
	Load    Number      `json:"load"`
	Filled  Number      `json:"filled"`
	Minutes Number      `json:"minutes"`
}

// NewFilling returns how far a proof has come at a time.
func NewFilling(c *proof.Comparison, at time.Time) Filling {
	line := Filling{Kind: "filling", Time: Stamp(at), Outcome: c.Outcome, Text: say.English().Filling(c), Cylinders: []FillingCylinder{}}
	for i := range c.Cylinders {
		cyl := &c.Cylinders[i]
		one := FillingCylinder{Cylinder: cyl.Cylinder, Filled: rounded(cyl.Filled()), Conditions: []FillingCondition{}}
		for j := range cyl.Conditions {
			if cond := &cyl.Conditions[j]; cond.Failing {
				one.Conditions = append(one.Conditions, newFillingCondition(cond))
			}
		}
		line.Cylinders = append(line.Cylinders, one)
	}
	return line
}

func newFillingCondition(c *proof.Condition) FillingCondition {
	o := FillingCondition{RPM: rounded(c.At.RPM), Load: rounded(c.At.Load), Filled: rounded(c.Filled()), Minutes: rounded(c.Minutes)}
	if c.Where.Gear != gear.Unknown {
		o.Gear = &c.Where.Gear
	}
	return o
}

// TestSummary is the summary of a guided test: that of the drive, and its steps.
type TestSummary struct {
	Summary
	Steps     []StepResult `json:"steps"`
	StepNotes []string     `json:"step_notes"`
}

// StepResult is what became of one step.
type StepResult struct {
	Step      string      `json:"step"` // its key
	Name      string      `json:"name"`
	Outcome   string      `json:"outcome"` // "done", "left_out", "broken_off", "stopped", "not_reached"
	Seconds   Number      `json:"seconds"` // in the condition, while the step ran
	Firings   Number      `json:"firings"` // of each cylinder in that time
	Needed    Number      `json:"firings_needed"`
	Remark    Word        `json:"remark"`
	Cylinders []StepCount `json:"cylinders"` // of the running in the step's condition, while it ran
}

// StepCount is one cylinder in a step's condition.
type StepCount struct {
	Cylinder int    `json:"cylinder"`
	Reported bool   `json:"reported"`
	Misses   Number `json:"misses"`
	Firings  Number `json:"firings"`
	Rate     Number `json:"rate"` // per 1,000 firings, with 95 % limits
	Low      Number `json:"low"`
	High     Number `json:"high"`
}

// NewTestSummary is the summary of a guided test as an object.
func NewTestSummary(s *views.State, results []guide.StepResult, notes []guide.Saying) TestSummary {
	words := say.English()
	o := TestSummary{NewSummary(s), make([]StepResult, len(results)), each(notes, func(n *guide.Saying) string { return words.Saying(*n) })}
	for i := range results {
		r := &results[i]
		o.Steps[i] = StepResult{
			Step: r.Step.Key, Name: words.StepName(r.Step), Outcome: r.Outcome.String(),
			Seconds: rounded(r.In.Seconds()), Firings: rounded(r.Firings), Needed: rounded(r.Needed), Remark: Word(words.Saying(r.Remark)),
			Cylinders: make([]StepCount, len(r.Counts)),
		}
		for k, c := range r.Counts {
			n := StepCount{c.Cylinder, c.Reported, rounded(c.Misses), rounded(c.Firings), rounded(c.Rate), rounded(c.Low), rounded(c.High)}
			if !c.Reported {
				n.Misses, n.Rate, n.Low, n.High = unknown(), unknown(), unknown(), unknown()
			}
			o.Steps[i].Cylinders[k] = n
		}
	}
	return o
}
