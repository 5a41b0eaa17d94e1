package views_test

import (
	"bytes"
	"strings"
	"stumble/misfire/guide"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/viewstest"
	"stumble/views/wrap"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestNewStep(t *testing.T) {
	assert.Nil(t, views.NewStep(nil))
	drive := guide.All()[1]
	status := &guide.Status{Place: guide.Place{Step: &drive, Number: 2, Of: 6, Left: 80 * time.Second, Length: 90 * time.Second},
		Ask: guide.AskCondition, Say: guide.Saying{Kind: guide.DoStopHold}, Done: 120, Needed: 1498}
	assert.Equal(t, &views.Step{Number: 2, Of: 6, Name: "Drive at idle", Instruction: "Stop, and hold the brake.", Left: 80 * time.Second,
		Length: 90 * time.Second, Done: 120, Needed: 1498,
		Cautions: []string{"parking brake on, chocks at both sides, nobody in front or behind"}}, views.NewStep(status))
	status.In = true
	assert.Empty(t, views.NewStep(status).Cautions, "read by now")
}

func TestWriteSteps(t *testing.T) {
	state := viewstest.Wren(t)
	var text bytes.Buffer
	require.NoError(t, views.WriteSteps(&text, state.Summary, viewstest.Results(), []guide.Saying{{Kind: guide.NoteNoneMoved}}))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, wrap.Width(strings.TrimSuffix(line, "\n")), views.PageWidth, line)
	}
	viewstest.RequireGolden(t, "steps.txt", text.String())
	require.ErrorIs(t, views.WriteSteps(brokenPipe{}, state.Summary, viewstest.Results(), nil), errPipe)

	healthy := viewstest.Results()[:1]
	healthy[0].Counts = healthy[0].Counts[:1]
	state.Summary.Verdict.Cylinders = nil
	text.Reset()
	require.NoError(t, views.WriteSteps(&text, state.Summary, healthy, nil))
	assert.Contains(t, text.String(), "Park at idle      done           3:00    1,130  none missed; each still under 3.3\n")
}

func TestWriteCautions(t *testing.T) {
	var text bytes.Buffer
	require.NoError(t, views.WriteCautions(&text, say.English().LoadTestCautions(guide.All())))
	for line := range strings.Lines(text.String()) {
		assert.LessOrEqual(t, wrap.Width(strings.TrimSuffix(line, "\n")), views.PageWidth, line)
	}
	assert.Contains(t, text.String(), "Carbon monoxide kills")
	require.ErrorIs(t, views.WriteCautions(brokenPipe{}, nil), errPipe)
}
