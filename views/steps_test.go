package views

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/rate"
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

func TestStepEventLine(t *testing.T) {
	at := time.Date(2026, 11, 25, 8, 31, 0, 0, time.UTC)
	pull := steps.All()[5]
	line, err := json.Marshal(NewStepEvent(steps.Event{At: at, Kind: steps.Broken, Step: &pull, Number: 6, Of: 6, Text: "ease off", Left: time.Minute}, at.Add(-time.Minute)))
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"step","event":"broken_off","time":"2026-11-25T08:31:00.000Z","seconds":60,"step":"pull","name":"Pull",
		"number":6,"of":6,"text":"ease off","seconds_left":60}`, string(line))
	line, err = json.Marshal(NewStepEvent(steps.Event{At: at, Kind: steps.Over, Text: "every step is done"}, time.Time{}))
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"step","event":"over","time":"2026-11-25T08:31:00.000Z","seconds":null,"step":null,"name":null,
		"number":0,"of":0,"text":"every step is done","seconds_left":0}`, string(line))
}

// results are steps that went as steps can go.
func results() []steps.Result {
	all := steps.All()
	count := func(cylinder int, misses, firings float64) steps.Count {
		return steps.Count{Cylinder: cylinder, Reported: true, Estimate: rate.Interval(misses, firings, 1)}
	}
	silent := count(4, 0, 600)
	silent.Reported = false
	return []steps.Result{
		{Step: &all[0], Outcome: steps.Done, In: 3 * time.Minute, Firings: 1114, Needed: 1498,
			Cells: []steps.Count{count(1, 0, 1130), count(2, 0, 1130), count(3, 2, 1130), silent}},
		{Step: &all[1], Outcome: steps.Done, In: 90 * time.Second, Cells: []steps.Count{count(1, 0, 505), count(2, 15, 505), count(3, 0, 505), silent}},
		{Step: &all[2], Outcome: steps.BrokenOff, In: 12 * time.Second, Remark: "the misfire is as heavy as before: it can overheat the catalyst"},
		{Step: &all[3], Outcome: steps.LeftOut},
		{Step: &all[4]},
	}
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

func TestTestSummary(t *testing.T) {
	line, err := json.Marshal(NewTestSummary(wren(t), results(), nil))
	require.NoError(t, err)
	var o struct {
		Kind    string
		Verdict struct{ Sentence string }
		Steps   []struct {
			Step, Outcome string
			Remark        *string
			Cylinders     []struct {
				Cylinder      int
				Misses, Rate  *float64
				Reported      bool
				Firings, High float64
			}
		}
		Notes []string `json:"step_notes"`
	}
	require.NoError(t, json.Unmarshal(line, &o))
	assert.Equal(t, "summary", o.Kind)
	assert.NotEmpty(t, o.Verdict.Sentence)
	require.Len(t, o.Steps, 5)
	assert.Equal(t, "drive", o.Steps[1].Step)
	assert.InDelta(t, 15000.0/505, *o.Steps[1].Cylinders[1].Rate, 1e-3)
	assert.Nil(t, o.Steps[1].Cylinders[3].Misses, "a cylinder without a counter")
	assert.Equal(t, "broken_off", o.Steps[2].Outcome)
	assert.NotNil(t, o.Steps[2].Remark)
	assert.Equal(t, "left_out", o.Steps[3].Outcome)
	assert.Equal(t, "not_reached", o.Steps[4].Outcome)
	assert.NotNil(t, o.Steps[4].Cylinders)
	assert.NotNil(t, o.Notes)
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
