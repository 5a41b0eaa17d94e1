package views

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/guide"
	"stumble/misfire/rate"
	"stumble/views/say"
)

func TestNewStep(t *testing.T) {
	assert.Nil(t, NewStep(nil))
	drive := guide.All()[1]
	status := &guide.Status{Place: guide.Place{Step: &drive, Number: 2, Of: 6, Left: 80 * time.Second, Length: 90 * time.Second},
		Ask: guide.AskCondition, Say: guide.Saying{Kind: guide.DoStopHold}, Done: 120, Needed: 1498}
	assert.Equal(t, &Step{Number: 2, Of: 6, Name: "Drive at idle", Instruction: "Stop, and hold the brake.", Left: 80 * time.Second,
		Length: 90 * time.Second, Done: 120, Needed: 1498,
		Cautions: []string{"parking brake on, chocks at both sides, nobody in front or behind"}}, NewStep(status))
	status.In = true
	assert.Empty(t, NewStep(status).Cautions, "read by now")
}

func TestGuideLine(t *testing.T) {
	at := time.Date(2026, 11, 25, 8, 31, 0, 0, time.UTC)
	pull := guide.All()[5]
	e := guide.Event{At: at, Kind: guide.Broken, Say: guide.Saying{Kind: guide.DoEase},
		Place: guide.Place{Step: &pull, Number: 6, Of: 6, Left: time.Minute}}
	line, err := json.Marshal(NewGuideLine(&e, at.Add(-time.Minute)))
	require.NoError(t, err)
	assert.Equal(t, `{"kind":"step","event":"broken_off","time":"2026-11-25T08:31:00.000Z","seconds":60,"step":"pull","name":"Pull",`+
		`"number":6,"of":6,"text":"ease off, drive on easily","seconds_left":60}`, string(line))
	line, err = json.Marshal(NewGuideLine(&guide.Event{At: at, Kind: guide.Over, Say: guide.Saying{Kind: guide.AllStepsDone}}, time.Time{}))
	require.NoError(t, err)
	assert.Equal(t, `{"kind":"step","event":"over","time":"2026-11-25T08:31:00.000Z","seconds":null,"step":null,"name":null,`+
		`"number":0,"of":0,"text":"every step is done","seconds_left":0}`, string(line))

	cut := guide.Event{At: at, Kind: guide.Measured, Ask: guide.AskCool, Say: guide.Saying{Kind: guide.FallMeasured, Cylinder: 2, Value: 51.6},
		Place: guide.Place{Cylinder: 2, Number: 2, Of: 4, Round: 1, Left: 30 * time.Second}}
	line, err = json.Marshal(NewGuideLine(&cut, at.Add(-90*time.Second)))
	require.NoError(t, err)
	assert.Equal(t, `{"kind":"balance_step","event":"measured","ask":"cool","time":"2026-11-25T08:31:00.000Z","seconds":90,"cylinder":2,`+
		`"number":2,"of":4,"round":1,"text":"cylinder 2 moves the idle by 52 rpm","seconds_left":30}`, string(line))
	cut.Cylinder = 0
	line, err = json.Marshal(NewGuideLine(&cut, at))
	require.NoError(t, err)
	assert.Contains(t, string(line), `"cylinder":null`)
}

// results are steps that went as steps can go.
func results() []guide.StepResult {
	all := guide.All()
	count := func(cylinder int, misses, firings float64) guide.StepCount {
		return guide.StepCount{Cylinder: cylinder, Reported: true, Estimate: rate.Interval(misses, firings, 1)}
	}
	silent := count(4, 0, 600)
	silent.Reported = false
	return []guide.StepResult{
		{Step: &all[0], Outcome: guide.Done, In: 3 * time.Minute, Firings: 1114, Needed: 1498,
			Counts: []guide.StepCount{count(1, 0, 1130), count(2, 0, 1130), count(3, 2, 1130), silent}},
		{Step: &all[1], Outcome: guide.Done, In: 90 * time.Second, Counts: []guide.StepCount{count(1, 0, 505), count(2, 15, 505), count(3, 0, 505), silent}},
		{Step: &all[2], Outcome: guide.BrokenOff, In: 12 * time.Second, Remark: guide.Saying{Kind: guide.CatalystStill}},
		{Step: &all[3], Outcome: guide.LeftOut},
		{Step: &all[4]},
	}
}

func TestWriteSteps(t *testing.T) {
	state := wren(t)
	var text bytes.Buffer
	require.NoError(t, WriteSteps(&text, state.Summary, results(), []guide.Saying{{Kind: guide.NoteNoneMoved}}))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), pageWidth, line)
	}
	requireGolden(t, "steps.txt", text.String())
	require.ErrorIs(t, WriteSteps(brokenPipe{}, state.Summary, results(), nil), errPipe)

	healthy := results()[:1]
	healthy[0].Counts = healthy[0].Counts[:1]
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
	require.NoError(t, WriteCautions(&text, say.English().LoadTestCautions(guide.All())))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, width(strings.TrimSuffix(line, "\n")), pageWidth, line)
	}
	assert.Contains(t, text.String(), "Carbon monoxide kills")
	require.ErrorIs(t, WriteCautions(brokenPipe{}, nil), errPipe)
}
