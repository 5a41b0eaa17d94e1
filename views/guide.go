package views

import (
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
