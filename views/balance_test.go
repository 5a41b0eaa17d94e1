package views_test

import (
	"bytes"
	"strings"
	"stumble/misfire/guide"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/viewstest"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBalanceOnTheScreen(t *testing.T) {
	words := say.English()
	assert.Empty(t, words.PlugIn(nil))
	s := &guide.Status{Ask: guide.AskPlugIn, Say: guide.Saying{Kind: guide.DoPlugIn, Cylinder: 3}, Off: 3500 * time.Millisecond,
		Place: guide.Place{Cylinder: 3, Number: 3, Of: 4, Round: 1, Left: 6500 * time.Millisecond, Length: guide.LongestOff},
		Falls: []guide.Fall{{Cylinder: 1, RPM: 52.4}, {Cylinder: 2, RPM: -0.2}}}
	assert.Equal(t, &views.Step{Number: 3, Of: 4, Name: "cylinder 3", Left: s.Left, Length: s.Length, Enter: "plugged in",
		Instruction: "Plug the injector of cylinder 3 in again, then press Enter. Falls so far: 1: 52, 2: 0 rpm."}, views.NewStep(s))
	assert.Equal(t, "PLUG CYLINDER 3 IN AGAIN: 7 s left", words.PlugIn(s))
	assert.Equal(t, 4, views.CutSecond(s))
	s.Off, s.Left = 12*time.Second, 0
	assert.Equal(t, 13, views.CutSecond(s))
	assert.Equal(t, "PLUG CYLINDER 3 IN NOW: off for 12 s, too long", words.PlugIn(s))
	s.Ask, s.Round = guide.AskUnplug, 2
	step := views.NewStep(s)
	assert.Equal(t, "cylinder 3, round 2", step.Name)
	assert.Equal(t, "unplugged", step.Enter)
	assert.NotEmpty(t, step.Cautions)
	assert.Empty(t, words.PlugIn(s))
	assert.Zero(t, views.CutSecond(s))
	for range 20 {
		s.Falls = append(s.Falls, guide.Fall{Cylinder: 9, RPM: 50})
	}
	assert.NotContains(t, views.NewStep(s).Instruction, "1: 52", "the newest alone fit")
	assert.Equal(t, "balance test", views.NewStep(&guide.Status{Ask: guide.AskBase}).Name)
}

func TestWriteBalance(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, views.WriteBalance(&out, viewstest.Balance()))
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
		assert.LessOrEqual(t, len(line), views.PageWidth+1)
	}
}
