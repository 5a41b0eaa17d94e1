package views

import (
	"time"

	"stumble/misfire/guide"
	"stumble/views/say"
)

// NewStep returns what a guide asks for as the screen shows it; nil when none runs.
func NewStep(s *guide.Status) *Step {
	if s == nil {
		return nil
	}
	words := say.English()
	step := &Step{Number: max(s.Number, 1), Of: s.Of, Instruction: words.Asked(s), Left: s.Left, Length: s.Length,
		Done: s.Done, Needed: s.Needed, Enter: words.Enter(s.Ask)}
	switch {
	case s.Step == nil:
		step.Name = words.Cut(s)
		if s.Ask == guide.AskUnplug {
			step.Cautions = words.CutCautions()
		}
		return step
	case !s.In && s.Ask == guide.AskCondition:
		step.Cautions = words.StepCautions(s.Step)
	}
	step.Name = words.StepName(s.Step)
	return step
}

// CutSecond returns the second that a cylinder has been off that must be plugged in, from 1; 0 while there is none.
func CutSecond(s *guide.Status) int {
	if s == nil || s.Ask != guide.AskPlugIn {
		return 0
	}
	return int(s.Off.Seconds()) + 1
}

// GuideLine is an event of a guided test: {"kind":"step",...} of a load test, {"kind":"balance_step",...} of a balance test.
// Fields that the other kind has are left out.
type GuideLine struct {
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

// NewGuideLine returns an event as a line; start is when the drive began.
func NewGuideLine(e *guide.Event, start time.Time) GuideLine {
	words := say.English()
	line := GuideLine{Kind: "step", Event: e.Kind.String(), Time: Stamp(e.At), Seconds: unknown(),
		Number: e.Number, Of: e.Of, Round: e.Round, Text: words.Saying(e.Say), Left: Number(e.Left.Seconds())}
	if !start.IsZero() {
		line.Seconds = Number(e.At.Sub(start).Seconds())
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
