package views

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
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

func TestPlainLine(t *testing.T) {
	lost := eight(t)
	stopped := wren(t)
	stopped.Summary.Live.Running = false
	stopped.Summary.Live.Gear = gear.Call{}
	stopped.Summary.Live.Load = math.NaN()
	for _, tc := range []struct {
		name  string
		state *State
		want  string
	}{
		{"nothing yet", &State{}, "waiting for the first readings"},
		{"four", wren(t), "04:31 D, marked; 712 rpm; load 31 %; misses 1 42 1 0, per 1,000 0.4 17.9 0.4 0"},
		{"warned and guided", guided(t), "04:31 D, marked; 712 rpm; load 31 %; misses 1 42 1 0, per 1,000 0.4 17.9 0.4 0; MIL FLASHING; " +
			"step 2 of 6 Drive at idle, 00:42 left; EASE OFF: this misfire can overheat the catalyst"},
		{"no counters", rook(t), "04:31 D, marked; 712 rpm; load 31 %; misses not reported by this car"},
		{"link lost", lost, "04:31 D, marked; 712 rpm; load 31 %; misses 63 0 0 0 0 92 0 0, per 1,000 21.0 0 0 0 0 30.8 0 0; LINK LOST, SEEKING"},
		{"stopped", stopped, "04:31 gear not known; engine not running; load - %; misses 1 42 1 0, per 1,000 0.4 17.9 0.4 0"},
		{"control characters", &State{Alert: "one\ntwo\x1b[2J"}, "waiting for the first readings; one two [2J"},
	} {
		t.Run(tc.name, func(t *testing.T) { assert.Equal(t, tc.want, PlainLine(tc.state)) })
	}
}

// burst is a drive with everything that makes a rate less sure than it looks.
func burst(t testing.TB) *State {
	s := wren(t)
	sum := s.Summary
	sum.Map, _ = engine.ParseMap("1,3,4,2", 4)
	sum.ByGear[4].Estimate = rate.AtLeast(65535, 131000, 1)
	worst := &sum.ByGear[5]
	worst.Estimate = rate.Interval(31, 1000, 2.4)
	worst.Bursts, worst.Apart = true, false
	sum.ByGear[6].Estimate = rate.Interval(1200, 1000, 1)
	sum.ByGear[7].Estimate = rate.Interval(0, 0, 1)
	sum.Total[3].Reported = false
	sum.Verdict.EaseOff = true
	return s
}

func TestWriteSummary(t *testing.T) {
	for name, state := range map[string]*State{
		"summary.txt": wren(t), "summary-burst.txt": burst(t), "summary-no-counts.txt": rook(t), "summary-empty.txt": {Summary: &misfire.Summary{}},
	} {
		t.Run(name, func(t *testing.T) {
			var text bytes.Buffer
			require.NoError(t, WriteSummary(&text, state.Summary))
			for _, line := range strings.Split(text.String(), "\n") {
				assert.LessOrEqual(t, width(line), pageWidth, line)
			}
			requireGolden(t, name, text.String())
		})
	}
}

type brokenPipe struct{}

var errPipe = errors.New("broken pipe")

func (brokenPipe) Write([]byte) (int, error) { return 0, errPipe }

func TestWriteSummaryGivesTheWritersError(t *testing.T) {
	assert.ErrorIs(t, WriteSummary(brokenPipe{}, wrenSummary(t)), errPipe)
}

// The words kept off the screen and the page are those of a statistician; they belong in the method notes.
func TestNoStatisticiansWords(t *testing.T) {
	var text bytes.Buffer
	require.NoError(t, WriteSummary(&text, burst(t).Summary))
	gl := drawnGlyphs()
	all := strings.ToLower(text.String() + PlainLine(guided(t)) + strings.Join(helpText(&gl), " "))
	for _, word := range []string{"p-value", "significant", "sigma"} {
		assert.NotContains(t, all, word)
	}
}

func TestSince(t *testing.T) {
	s := wrenSummary(t)
	s.ByGear[5].Since = time.Time{}
	assert.Equal(t, []string{"worse, against its own earlier running"}, remarksOn(s, &s.ByGear[5]))
}
