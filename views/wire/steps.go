package wire

import (
	"strings"
	"time"

	"stumble/misfire/steps"
	"stumble/views"
)

// StepEvent is an event of a guided test: {"kind":"step",...}.
type StepEvent struct {
	Kind    string `json:"kind"`
	Event   string `json:"event"` // "began", "asked", "held", "ended", "skipped", "broken_off", "repeated", "over"
	Time    Stamp  `json:"time"`
	Seconds Number `json:"seconds"` // since the drive began
	Step    Word   `json:"step"`    // its key; null when the test is over
	Name    Word   `json:"name"`
	Number  int    `json:"number"`
	Of      int    `json:"of"`
	Text    string `json:"text"` // what to do, or what became of it
	Left    Number `json:"seconds_left"`
}

// NewStepEvent is an event as a line; start is when the drive began.
func NewStepEvent(e steps.Event, start time.Time) StepEvent {
	line := StepEvent{Kind: "step", Event: e.Kind.String(), Time: Stamp(e.At), Seconds: unknown(),
		Number: e.Number, Of: e.Of, Text: e.Text, Left: rounded(e.Left.Seconds())}
	if !start.IsZero() {
		line.Seconds = rounded(e.At.Sub(start).Seconds())
	}
	if e.Step != nil {
		line.Step, line.Name = Word(e.Step.Key), Word(e.Step.Name)
	}
	return line
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
	Cylinders []StepCount `json:"cylinders"` // all running of the drive in the step's condition
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
func NewTestSummary(s *views.State, results []steps.Result, notes []string) TestSummary {
	o := TestSummary{NewSummary(s), make([]StepResult, len(results)), list(notes)}
	for i := range results {
		r := &results[i]
		o.Steps[i] = StepResult{
			Step: r.Step.Key, Name: r.Step.Name, Outcome: strings.ReplaceAll(r.Outcome.String(), " ", "_"),
			Seconds: rounded(r.In.Seconds()), Firings: rounded(r.Firings), Needed: rounded(r.Needed), Remark: Word(r.Remark),
			Cylinders: make([]StepCount, len(r.Cells)),
		}
		for k, c := range r.Cells {
			n := StepCount{c.Cylinder, c.Reported, rounded(c.Misses), rounded(c.Firings), rounded(c.Rate), rounded(c.Low), rounded(c.High)}
			if !c.Reported {
				n.Misses, n.Rate, n.Low, n.High = unknown(), unknown(), unknown(), unknown()
			}
			o.Steps[i].Cylinders[k] = n
		}
	}
	return o
}
