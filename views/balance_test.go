package views_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/balance"
	"stumble/views"
	"stumble/views/viewstest"
	"stumble/views/wire"
)

// A balance test in words, event by event: what is loud begins with it.
func TestBalanceWords(t *testing.T) {
	at := time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)
	for _, c := range []struct {
		event balance.Event
		want  string
	}{
		{balance.Event{Ask: balance.AskReady, Text: "start the engine in Park"}, "FIRST: start the engine in Park"},
		{balance.Event{Ask: balance.AskBase, Text: "leave it alone", Left: 20 * time.Second}, "WAIT: leave it alone ... 0:20"},
		{balance.Event{Ask: balance.AskUnplug, Text: "unplug it", Number: 2, Of: 4, Round: 1}, "NOW: unplug it (cut 2 of 4)"},
		{balance.Event{Ask: balance.AskUnplug, Text: "unplug it", Number: 1, Of: 1, Round: 2}, "NOW: unplug it (cut 1 of 1, round 2)"},
		{balance.Event{Ask: balance.AskHold, Text: "leave it so", Left: 10 * time.Second}, "HOLD: leave it so"},
		{balance.Event{Ask: balance.AskPlugIn, Text: "plug it in", Left: 6200 * time.Millisecond}, "PLUG IN AGAIN: plug it in ... 7 seconds left"},
		{balance.Event{Kind: balance.Counted, Ask: balance.AskPlugIn, Text: "3"}, "  3 ..."},
		{balance.Event{Kind: balance.Late, Ask: balance.AskPlugIn, Text: "plug it in now"}, "TOO LONG: plug it in now"},
		{balance.Event{Kind: balance.Measured, Text: "by 52 rpm"}, "FALL: by 52 rpm"},
		{balance.Event{Kind: balance.Void, Text: "does not count"}, "VOID: does not count"},
		{balance.Event{Kind: balance.Skipped, Text: "left out"}, "SKIPPED: left out"},
		{balance.Event{Kind: balance.Over, Text: "done"}, "END: done"},
	} {
		assert.Equal(t, c.want, views.BalanceWords(c.event))
		c.event.At = at
		data, err := json.Marshal(wire.NewBalanceEvent(c.event, at.Add(-90*time.Second)))
		require.NoError(t, err)
		var line map[string]any
		require.NoError(t, json.Unmarshal(data, &line))
		assert.Equal(t, "balance_step", line["kind"])
		assert.Equal(t, c.event.Kind.String(), line["event"])
		assert.Equal(t, 90.0, line["seconds"])
		assert.Nil(t, line["cylinder"])
	}
}

func TestWriteBalance(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, views.WriteBalance(&out, viewstest.Balance()))
	assert.Equal(t, `Cylinder 4 gives little work.

Fall of the idle of 741 rpm as each cylinder was cut, with 95 % limits.

cyl  cuts  fall, rpm  as low as  as high as  of the middle
  1     1         51         41          61          100 %  works
  3     0  not cut
  4     2         -1          -           -              -  cannot say

- A note.
`, out.String())
	for line := range strings.Lines(out.String()) {
		assert.LessOrEqual(t, len(line), views.PageWidth+1)
	}
}

func TestBalanceOnTheScreen(t *testing.T) {
	assert.Nil(t, views.NewBalanceStep(nil))
	assert.Empty(t, views.BalanceAlert(nil))
	s := &balance.Status{Ask: balance.AskPlugIn, Cylinder: 3, Number: 3, Of: 4, Round: 1, Say: "plug it in", Left: 6500 * time.Millisecond,
		Length: balance.Limit, Off: 3500 * time.Millisecond, Falls: []balance.Fall{{Cylinder: 1, RPM: 52.4}, {Cylinder: 2, RPM: -0.2}}}
	assert.Equal(t, &views.Step{Number: 3, Of: 4, Name: "cylinder 3", Instruction: "Plug it in. Falls so far: 1: 52, 2: 0 rpm.",
		Left: s.Left, Length: s.Length, Enter: "plugged in"}, views.NewBalanceStep(s))
	assert.Equal(t, "PLUG CYLINDER 3 IN AGAIN: 7 s left", views.BalanceAlert(s))
	assert.Equal(t, 4, views.BalanceSecond(s))
	s.Off, s.Left = 12*time.Second, 0
	assert.Equal(t, 13, views.BalanceSecond(s))
	assert.Equal(t, "PLUG CYLINDER 3 IN NOW: off for 12 s, too long", views.BalanceAlert(s))
	s.Ask, s.Round = balance.AskUnplug, 2
	step := views.NewBalanceStep(s)
	assert.Equal(t, "cylinder 3, round 2", step.Name)
	assert.Equal(t, "unplugged", step.Enter)
	assert.NotEmpty(t, step.Cautions)
	assert.Empty(t, views.BalanceAlert(s))
	assert.Zero(t, views.BalanceSecond(s))
	for range 20 {
		s.Falls = append(s.Falls, balance.Fall{Cylinder: 9, RPM: 50})
	}
	assert.NotContains(t, views.NewBalanceStep(s).Instruction, "1: 52", "the newest alone fit")
	assert.Equal(t, "balance test", views.NewBalanceStep(&balance.Status{Ask: balance.AskBase}).Name)
}
