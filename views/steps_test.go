package views_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/steps"
	"stumble/views"
	"stumble/views/viewstest"
	"stumble/views/wrap"
)

func TestStepWords(t *testing.T) {
	drive := steps.All()[1]
	event := func(k steps.Kind, text string) steps.Event {
		return steps.Event{Kind: k, Step: &drive, Number: 2, Of: 6, Text: text, Left: 80 * time.Second}
	}
	for _, c := range []struct {
		event       steps.Event
		words, mark string
	}{
		{event(steps.Begun, "hold the brake"), "NEXT: hold the brake ... 1:20 (step 2 of 6, Drive at idle)\n" +
			"CAUTION: parking brake on, chocks at both sides, nobody in front or behind", "step drive began"},
		{event(steps.Repeated, "hold the brake"), "AGAIN: hold the brake ... 1:20 (step 2 of 6, Drive at idle)\n" +
			"CAUTION: parking brake on, chocks at both sides, nobody in front or behind", "step drive repeated"},
		{event(steps.Asked, "foot off the pedal"), "NOW: foot off the pedal", ""},
		{event(steps.Held, "keep it so"), "HOLD: keep it so ... 1:20", ""},
		{event(steps.Ended, "1:20 in the condition"), "DONE: Drive at idle, 1:20 in the condition", "step drive ended"},
		{event(steps.Skipped, "left out"), "SKIPPED: Drive at idle", "step drive skipped"},
		{event(steps.Broken, "ease off"), "BREAK OFF: ease off", "step drive broken off"},
		{steps.Event{Kind: steps.Over, Text: "every step is done"}, "END: every step is done", "test over: every step is done"},
	} {
		assert.Equal(t, c.words, views.StepWords(c.event))
		assert.Equal(t, c.mark, views.StepMark(c.event))
	}
}

func TestNewStep(t *testing.T) {
	assert.Nil(t, views.NewStep(nil))
	drive := steps.All()[1]
	status := &steps.Status{Step: &drive, Number: 2, Of: 6, Ask: steps.AskCondition, Say: "hold the brake",
		Left: 80 * time.Second, Length: 90 * time.Second, Done: 120, Needed: 1498}
	assert.Equal(t, &views.Step{Number: 2, Of: 6, Name: "Drive at idle", Instruction: "Hold the brake.", Left: 80 * time.Second,
		Length: 90 * time.Second, Done: 120, Needed: 1498, Cautions: drive.Cautions}, views.NewStep(status))
	status.In = true
	assert.Empty(t, views.NewStep(status).Cautions, "read by now")
}

func TestWriteSteps(t *testing.T) {
	state := viewstest.Wren(t)
	var text bytes.Buffer
	require.NoError(t, views.WriteSteps(&text, state.Summary, viewstest.Results(), []string{"no count moved in the whole test"}))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, wrap.Width(strings.TrimSuffix(line, "\n")), views.PageWidth, line)
	}
	viewstest.RequireGolden(t, "steps.txt", text.String())
	require.ErrorIs(t, views.WriteSteps(brokenPipe{}, state.Summary, viewstest.Results(), nil), errPipe)

	healthy := viewstest.Results()[:1]
	healthy[0].Cells = healthy[0].Cells[:1]
	state.Summary.Verdict.Cylinders = nil
	text.Reset()
	require.NoError(t, views.WriteSteps(&text, state.Summary, healthy, nil))
	assert.Contains(t, text.String(), "Park at idle      done           3:00    1,130  none missed; each still under 3.3\n")
}

func TestWriteCautions(t *testing.T) {
	var text bytes.Buffer
	require.NoError(t, views.WriteCautions(&text, steps.Cautions(steps.All())))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, wrap.Width(strings.TrimSuffix(line, "\n")), views.PageWidth, line)
	}
	assert.Contains(t, text.String(), "Carbon monoxide kills")
	require.ErrorIs(t, views.WriteCautions(brokenPipe{}, nil), errPipe)
}
