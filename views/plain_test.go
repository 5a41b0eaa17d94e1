package views_test

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
	"stumble/views/viewstest"
	"stumble/views/wrap"
)

func TestPlainLine(t *testing.T) {
	lost := viewstest.Eight(t)
	stopped := viewstest.Wren(t)
	stopped.Summary.Live.Running = false
	stopped.Summary.Live.Gear = gear.Call{}
	stopped.Summary.Live.Load = math.NaN()
	for _, tc := range []struct {
		name  string
		state *views.State
		want  string
	}{
		{"nothing yet", &views.State{}, "waiting for the first readings"},
		{"four", viewstest.Wren(t), "04:31 D, marked; 712 rpm; load 31 %; misses 1 42 1 0, per 1,000 0.4 17.9 0.4 0"},
		{"warned and guided", viewstest.Guided(t), "04:31 D, marked; 712 rpm; load 31 %; misses 1 42 1 0, per 1,000 0.4 17.9 0.4 0; MIL FLASHING; " +
			"step 2 of 6 Drive at idle, 00:42 left; EASE OFF: this misfire can overheat the catalyst"},
		{"no counters", viewstest.Rook(t), "04:31 D, marked; 712 rpm; load 31 %; misses not reported by this car"},
		{"link lost", lost, "04:31 D, marked; 712 rpm; load 31 %; misses 63 0 0 0 0 92 0 0, per 1,000 21.0 0 0 0 0 30.8 0 0; LINK LOST, SEEKING"},
		{"stopped", stopped, "04:31 gear not known; engine not running; load - %; misses 1 42 1 0, per 1,000 0.4 17.9 0.4 0"},
		{"control characters", &views.State{Alert: "one\ntwo\x1b[2J"}, "waiting for the first readings; one two [2J"},
	} {
		t.Run(tc.name, func(t *testing.T) { assert.Equal(t, tc.want, views.PlainLine(tc.state)) })
	}
}

func TestWriteSummary(t *testing.T) {
	for name, state := range map[string]*views.State{
		"summary.txt": viewstest.Wren(t), "summary-burst.txt": viewstest.Burst(t), "summary-no-counts.txt": viewstest.Rook(t), "summary-empty.txt": {Summary: &misfire.Summary{}},
	} {
		t.Run(name, func(t *testing.T) {
			var text bytes.Buffer
			require.NoError(t, views.WriteSummary(&text, state.Summary))
			for _, line := range strings.Split(text.String(), "\n") {
				assert.LessOrEqual(t, wrap.Width(line), views.PageWidth, line)
			}
			viewstest.RequireGolden(t, name, text.String())
		})
	}
}

type brokenPipe struct{}

var errPipe = errors.New("broken pipe")

func (brokenPipe) Write([]byte) (int, error) { return 0, errPipe }

func TestWriteSummaryGivesTheWritersError(t *testing.T) {
	assert.ErrorIs(t, views.WriteSummary(brokenPipe{}, viewstest.WrenSummary(t)), errPipe)
}

// The words kept off the screen and the page are those of a statistician; they belong in the method notes.
func TestNoStatisticiansWords(t *testing.T) {
	var text bytes.Buffer
	require.NoError(t, views.WriteSummary(&text, viewstest.Burst(t).Summary))
	all := strings.ToLower(text.String() + views.PlainLine(viewstest.Guided(t)))
	for _, word := range []string{"p-value", "significant", "sigma"} {
		assert.NotContains(t, all, word)
	}
}

func TestSince(t *testing.T) {
	s := viewstest.WrenSummary(t)
	s.ByGear[5].Since = time.Time{}
	var text bytes.Buffer
	require.NoError(t, views.WriteSummary(&text, s))
	assert.Regexp(t, `(?m)^ +worse, against its own earlier running$`, text.String())
}
