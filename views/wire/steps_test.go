package wire

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/steps"
	"stumble/views/viewstest"
)

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

func TestTestSummary(t *testing.T) {
	line, err := json.Marshal(NewTestSummary(viewstest.Wren(t), viewstest.Results(), nil))
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
