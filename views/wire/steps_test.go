package wire

import (
	"encoding/json"
	"math"
	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/views/viewstest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNewFilling(t *testing.T) {
	c := &proof.Comparison{Outcome: proof.NotYet, Cylinders: []proof.Cylinder{{Cylinder: 2, Conditions: []proof.Condition{
		{Failing: true, Where: misfire.Condition{Gear: gear.Drive}, At: proof.Point{RPM: 690, Load: 34}, RPM: 700,
			Most: rate.Count{Firings: 300}, Missing: 900, Minutes: 18.0 / 7},
		{Failing: true, Level: proof.Frame, At: proof.Point{RPM: 1500, Load: 60}, RPM: 1500, Missing: math.Inf(1), Minutes: math.Inf(1)},
		{Where: misfire.Condition{Gear: gear.Reverse}},
	}}}}
	data, err := json.Marshal(NewFilling(c, time.Date(2026, 4, 2, 9, 0, 0, 0, time.UTC)))
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"filling","time":"2026-04-02T09:00:00.000Z","outcome":"not_yet",
		"text":"Proof of cylinder\u00a02: 0\u00a0% run (where the freeze frame was stored 0\u00a0%, in Drive 25\u00a0%).",
		"cylinders":[{"cylinder":2,"filled":0,"conditions":[
			{"gear":"D","rpm":690,"load":34,"filled":0.25,"minutes":2.5714},
			{"gear":null,"rpm":1500,"load":60,"filled":0,"minutes":null}]}]}`, string(data))
}

func TestGuideLine(t *testing.T) {
	at := time.Date(2026, 11, 25, 8, 31, 0, 0, time.UTC)
	pull := guide.All()[5]
	e := guide.Event{At: at, Kind: guide.Broken, Say: guide.Saying{Kind: guide.DoEase},
		Place: guide.Place{Step: &pull, Number: 6, Of: 6, Left: time.Minute}}
	line, err := json.Marshal(NewGuide(&e, at.Add(-time.Minute)))
	require.NoError(t, err)
	assert.Equal(t, `{"kind":"step","event":"broken_off","time":"2026-11-25T08:31:00.000Z","seconds":60,"step":"pull","name":"Pull",`+
		`"number":6,"of":6,"text":"ease off, drive on easily","seconds_left":60}`, string(line))
	line, err = json.Marshal(NewGuide(&guide.Event{At: at, Kind: guide.Over, Say: guide.Saying{Kind: guide.AllStepsDone}}, time.Time{}))
	require.NoError(t, err)
	assert.Equal(t, `{"kind":"step","event":"over","time":"2026-11-25T08:31:00.000Z","seconds":null,"step":null,"name":null,`+
		`"number":0,"of":0,"text":"every step is done","seconds_left":0}`, string(line))

	cut := guide.Event{At: at, Kind: guide.Measured, Ask: guide.AskCool, Say: guide.Saying{Kind: guide.FallMeasured, Cylinder: 2, Value: 51.6},
		Place: guide.Place{Cylinder: 2, Number: 2, Of: 4, Round: 1, Left: 30 * time.Second}}
	line, err = json.Marshal(NewGuide(&cut, at.Add(-90*time.Second)))
	require.NoError(t, err)
	assert.Equal(t, `{"kind":"balance_step","event":"measured","ask":"cool","time":"2026-11-25T08:31:00.000Z","seconds":90,"cylinder":2,`+
		`"number":2,"of":4,"round":1,"text":"cylinder 2 moves the idle by 52 rpm","seconds_left":30}`, string(line))
	cut.Cylinder = 0
	line, err = json.Marshal(NewGuide(&cut, at))
	require.NoError(t, err)
	assert.Contains(t, string(line), `"cylinder":null`)
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
