package chart_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"

	"stumble/misfire"
	"stumble/views/report/chart"
)

// record paints a chart and gives what was done for it.
func record(t testing.TB, c *chart.Chart) []recorder.Action {
	t.Helper()
	require.NotNil(t, c)
	var canvas recorder.Canvas
	width, height := c.Size()
	c.Draw(draw.NewCanvas(&canvas, width, height))
	return canvas.Actions
}

// ticks are the strokes of many pieces: the lanes of the cylinders, in order, each a list of places and heights.
func ticks(actions []recorder.Action) (lanes []vg.Path) {
	for _, a := range actions {
		if s, ok := a.(*recorder.Stroke); ok && len(s.Path) > 0 && len(s.Path)%2 == 0 && upright(s.Path) {
			lanes = append(lanes, s.Path)
		}
	}
	return lanes
}

// upright tells a path of nothing but lines straight up from one base: that of a lane.
func upright(p vg.Path) bool {
	for i := 0; i < len(p); i += 2 {
		foot, head := p[i], p[i+1]
		if foot.Type != vg.MoveComp || head.Type != vg.LineComp || foot.Pos.X != head.Pos.X || head.Pos.Y <= foot.Pos.Y || foot.Pos.Y != p[0].Pos.Y {
			return false
		}
	}
	return true
}

// Every second with a miss has its tick, or lies in the bin whose tick is drawn; and no tick stands where none was.
func TestNoMissIsHidden(t *testing.T) {
	for _, seconds := range []int{1, 2, 60, 859, 860, 861, 3600, 7201, 36000} {
		drive := moments(seconds, 3, 60+seconds/20)
		for i := range drive {
			drive[i].Misses[2] = 0
		}
		drive[len(drive)-1].Misses[2] = 1 // one alone, in the last second
		drive[0].Misses[0], drive[0].Misses[1] = 1, 65535
		actions := record(t, words().Strip(chart.Drive{Moments: drive, Cylinders: 4}, chart.Wide))
		lanes := ticks(actions)
		lanes = lanes[len(lanes)-3:] // the lanes come last
		left, right := ends(t, actions)
		for c, lane := range lanes {
			wanted := make(map[int]bool)
			bins := len(lane) / 2
			per := math.Ceil(float64(seconds) / math.Floor(float64(right-left)/0.5+1e-9)) // bins are half a point wide or more
			each := (right - left) / vg.Length(math.Ceil(float64(seconds)/per))
			for _, m := range drive {
				if m.Misses[c] > 0 {
					wanted[int(m.At.Sub(start).Seconds()/per)] = true
				}
			}
			require.Len(t, wanted, bins, "%d s, cylinder %d", seconds, c+1)
			for i := 0; i < len(lane); i += 2 {
				bin := int(math.Floor(float64((lane[i].Pos.X - left) / each)))
				assert.True(t, wanted[bin], "%d s, cylinder %d: bin %d", seconds, c+1, bin)
			}
		}
	}
}

// ends are where the drive begins and ends on the paper: the ends of the time axis.
func ends(t testing.TB, actions []recorder.Action) (left, right vg.Length) {
	for _, a := range actions {
		if s, ok := a.(*recorder.Stroke); ok && len(s.Path) == 2 && s.Path[0].Pos.Y == s.Path[1].Pos.Y {
			if to := s.Path[1].Pos.X - s.Path[0].Pos.X; to > right-left {
				left, right = s.Path[0].Pos.X, s.Path[1].Pos.X
			}
		}
	}
	require.Positive(t, right-left)
	return left, right
}

// More misses are never a shorter tick.
func TestTicksGrow(t *testing.T) {
	var drive []misfire.Moment
	counts := []uint16{1, 2, 5, 10, 50, 99, 100, 1000, 65535}
	for i, n := range counts {
		m := misfire.Moment{At: start.Add(time.Duration(i) * time.Second)}
		m.Misses[0] = n
		drive = append(drive, m)
	}
	lanes := ticks(record(t, words().Strip(chart.Drive{Moments: drive, Cylinders: 1}, chart.Wide)))
	lane := lanes[len(lanes)-1]
	require.Len(t, lane, 2*len(counts))
	height := func(i int) vg.Length { return lane[2*i+1].Pos.Y - lane[2*i].Pos.Y }
	for i := 1; i < len(counts); i++ {
		assert.GreaterOrEqual(t, height(i), height(i-1))
	}
	assert.Greater(t, height(6), 2*height(0))
	assert.InDelta(t, float64(height(6)), float64(height(8)), 1e-9)
}

// No text leaves the chart, on wide paper and on narrow.
func TestTextsStayWithin(t *testing.T) {
	for name, c := range all() {
		width, height := c.Size()
		turned := 0
		for _, a := range record(t, c) {
			switch a := a.(type) {
			case *recorder.Push:
				turned++
			case *recorder.Pop:
				turned--
			case *recorder.FillString:
				if turned > 0 {
					continue // an axis's name, written upwards
				}
				face := font.DefaultCache.Lookup(a.Font, a.Size)
				assert.GreaterOrEqual(t, a.Point.X, vg.Length(-0.1), "%s: %q", name, a.String)
				assert.LessOrEqual(t, a.Point.X+face.Width(a.String), width+0.1, "%s: %q", name, a.String)
				assert.GreaterOrEqual(t, a.Point.Y, vg.Length(0), "%s: %q", name, a.String)
				assert.LessOrEqual(t, a.Point.Y+face.Extents().Ascent, height+0.5, "%s: %q", name, a.String)
			}
		}
	}
}
