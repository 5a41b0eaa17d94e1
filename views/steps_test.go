package views

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/steps"
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
		assert.Equal(t, c.words, StepWords(c.event))
		assert.Equal(t, c.mark, StepMark(c.event))
	}
}

func TestNewStep(t *testing.T) {
	assert.Nil(t, NewStep(nil))
	drive := steps.All()[1]
	status := &steps.Status{Step: &drive, Number: 2, Of: 6, Ask: steps.AskCondition, Say: "hold the brake",
		Left: 80 * time.Second, Length: 90 * time.Second, Done: 120, Needed: 1498}
	assert.Equal(t, &Step{Number: 2, Of: 6, Name: "Drive at idle", Instruction: "Hold the brake.", Left: 80 * time.Second,
		Length: 90 * time.Second, Done: 120, Needed: 1498, Cautions: drive.Cautions}, NewStep(status))
	status.In = true
	assert.Empty(t, NewStep(status).Cautions, "read by now")
}

func TestWriteSteps(t *testing.T) {
	state := wren(t)
	var text bytes.Buffer
	require.NoError(t, WriteSteps(&text, state.Summary, results(), []string{"no count moved in the whole test"}))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), pageWidth, line)
	}
	requireGolden(t, "steps.txt", text.String())
	require.ErrorIs(t, WriteSteps(brokenPipe{}, state.Summary, results(), nil), errPipe)

	healthy := results()[:1]
	healthy[0].Cells = healthy[0].Cells[:1]
	state.Summary.Verdict.Cylinders = nil
	text.Reset()
	require.NoError(t, WriteSteps(&text, state.Summary, healthy, nil))
	assert.Contains(t, text.String(), "Park at idle      done           3:00    1,130  none missed; each still under 3.3\n")
}

func TestWriteCautions(t *testing.T) {
	var text bytes.Buffer
	require.NoError(t, WriteCautions(&text, steps.Cautions(steps.All())))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), pageWidth, line)
	}
	assert.Contains(t, text.String(), "Carbon monoxide kills")
	require.ErrorIs(t, WriteCautions(brokenPipe{}, nil), errPipe)
}
