package views

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/guide"
	"stumble/views/say"
)

func TestBalanceOnTheScreen(t *testing.T) {
	words := say.English()
	assert.Empty(t, words.PlugIn(nil))
	s := &guide.Status{Ask: guide.AskPlugIn, Say: guide.Saying{Kind: guide.DoPlugIn, Cylinder: 3}, Off: 3500 * time.Millisecond,
		Place: guide.Place{Cylinder: 3, Number: 3, Of: 4, Round: 1, Left: 6500 * time.Millisecond, Length: guide.LongestOff},
		Falls: []guide.Fall{{Cylinder: 1, RPM: 52.4}, {Cylinder: 2, RPM: -0.2}}}
	assert.Equal(t, &Step{Number: 3, Of: 4, Name: "cylinder 3", Left: s.Left, Length: s.Length, Enter: "plugged in",
		Instruction: "Plug the injector of cylinder 3 in again, then press Enter. Falls so far: 1: 52, 2: 0 rpm."}, NewStep(s))
	assert.Equal(t, "PLUG CYLINDER 3 IN AGAIN: 7 s left", words.PlugIn(s))
	assert.Equal(t, 4, CutSecond(s))
	s.Off, s.Left = 12*time.Second, 0
	assert.Equal(t, 13, CutSecond(s))
	assert.Equal(t, "PLUG CYLINDER 3 IN NOW: off for 12 s, too long", words.PlugIn(s))
	s.Ask, s.Round = guide.AskUnplug, 2
	step := NewStep(s)
	assert.Equal(t, "cylinder 3, round 2", step.Name)
	assert.Equal(t, "unplugged", step.Enter)
	assert.NotEmpty(t, step.Cautions)
	assert.Empty(t, words.PlugIn(s))
	assert.Zero(t, CutSecond(s))
	for range 20 {
		s.Falls = append(s.Falls, guide.Fall{Cylinder: 9, RPM: 50})
	}
	assert.NotContains(t, NewStep(s).Instruction, "1: 52", "the newest alone fit")
	assert.Equal(t, "balance test", NewStep(&guide.Status{Ask: guide.AskBase}).Name)
}

// confirming counts what Enter says.
type confirming struct {
	Actions
	pressed int
}

func (c *confirming) Confirm() { c.pressed++ }

// Enter is heard where a step asks to be told, and nowhere else; in a note it ends the note.
func TestEnterConfirms(t *testing.T) {
	act := &confirming{}
	enter := tcell.NewEventKey(tcell.KeyEnter, 0, tcell.ModNone)
	var k keys
	k.press(enter, &State{}, act)
	k.press(enter, &State{Step: &Step{}}, act)
	assert.Zero(t, act.pressed)
	k.press(enter, &State{Step: &Step{Enter: "unplugged"}}, act)
	assert.Equal(t, 1, act.pressed)
	k.entry = []rune{}
	k.press(enter, &State{Step: &Step{Enter: "unplugged"}}, act)
	assert.Equal(t, 1, act.pressed)
	assert.Nil(t, k.entry)
}

func aBalance() *guide.BalanceResult {
	return &guide.BalanceResult{Base: 741.4, Median: 51, Chance: 4.2, Weak: []int{4}, Finding: guide.Compared,
		Cylinders: []guide.CutCylinder{
			{Cylinder: 1, Cuts: 1, Drop: 51, Low: 41, High: 61, Share: 100, ShareLow: 80, ShareHigh: 120, Verdict: guide.Even},
			{Cylinder: 3, Drop: math.NaN(), Low: math.NaN(), High: math.NaN(), Share: math.NaN(), ShareLow: math.NaN(), ShareHigh: math.NaN()},
			{Cylinder: 4, Cuts: 2, Drop: -1.2, Low: math.Inf(-1), High: math.Inf(1), Share: math.NaN(), ShareLow: math.NaN(), ShareHigh: math.NaN(), Verdict: guide.CannotSay},
		}}
}

func TestWriteBalance(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, WriteBalance(&out, aBalance()))
	assert.Equal(t, `Cylinder 4 gives little work: its cut is not felt for sure, at most - rpm, where
the middle fall is 51 rpm.

Fall of the idle of 741 rpm as each cylinder was cut, with 95 % limits.

cyl  cuts  fall, rpm  as low as  as high as  of the middle
  1     1         51         41          61          100 %  works
  3     0  not cut
  4     2         -1          -           -              -  cannot say

- A fall is half the swing from the first seconds without the cylinder to the
  first with it again, before idle control has answered: compare falls with each
  other, never with a fixed number.
- The cut names the cylinder, not the cause: fuel, spark, compression or a
  valve.
- The controller counted misses of the cut cylinders and may have stored codes:
  they are this test's own.
`, out.String())
	for line := range strings.Lines(out.String()) {
		assert.LessOrEqual(t, len(line), pageWidth+1)
	}
}

func TestBalanceObject(t *testing.T) {
	o := NewBalance(aBalance())
	assert.Len(t, o.Notes, 3)
	o.Notes = o.Notes[:1]
	data, err := json.Marshal(o)
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"balance","sentence":"Cylinder 4 gives little work: its cut is not felt for sure, at most - rpm, where the middle fall is 51 rpm.","weak":[4],"doubtful":[],"idle_rpm":741.4,"median_drop":51,"chance":4.2,
		"cylinders":[{"cylinder":1,"verdict":"works","cuts":1,"drop":51,"low":41,"high":61,"share":100,"share_low":80,"share_high":120},
		{"cylinder":3,"verdict":"not_cut","cuts":0,"drop":null,"low":null,"high":null,"share":null,"share_low":null,"share_high":null},
		{"cylinder":4,"verdict":"cannot_say","cuts":2,"drop":-1.2,"low":null,"high":null,"share":null,"share_low":null,"share_high":null}],"notes":["A fall is half the swing from the first seconds without the cylinder to the first with it again, before idle control has answered: compare falls with each other, never with a fixed number."]}`, string(data))
}
