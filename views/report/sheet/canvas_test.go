package sheet

import (
	"bytes"
	"image"
	"image/color"
	"io"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"
)

// The curves begin and end where the arc does, follow each other, and keep to its radius.
func TestQuarters(t *testing.T) {
	for _, angle := range []float64{0.1, 1, math.Pi / 2, 3, 2 * math.Pi, -1, -2 * math.Pi} {
		part := vg.PathComp{Type: vg.ArcComp, Pos: vg.Point{X: 10, Y: 20}, Radius: 7, Start: 0.3, Angle: angle}
		curves := quarters(&part)
		require.Len(t, curves, int(math.Ceil(math.Abs(angle)/(math.Pi/2)-1e-9)))
		at := func(angle float64) (x, y float64) { return 10 + 7*math.Cos(angle), 20 + 7*math.Sin(angle) }
		x, y := at(0.3)
		for i, c := range curves {
			assert.InDelta(t, x, float64(c[0].X), 1e-9)
			assert.InDelta(t, y, float64(c[0].Y), 1e-9)
			for u := 0.0; u <= 1; u += 0.05 {
				mix := func(p func(vg.Point) vg.Length) float64 {
					v := 1 - u
					return v*v*v*float64(p(c[0])) + 3*v*v*u*float64(p(c[1])) + 3*v*u*u*float64(p(c[2])) + u*u*u*float64(p(c[3]))
				}
				dx := mix(func(p vg.Point) vg.Length { return p.X }) - 10
				dy := mix(func(p vg.Point) vg.Length { return p.Y }) - 20
				assert.InDelta(t, 7, math.Hypot(dx, dy), 7*0.0003)
			}
			x, y = at(0.3 + angle*float64(i+1)/float64(len(curves)))
		}
		assert.InDelta(t, x, float64(curves[len(curves)-1][3].X), 1e-9)
		assert.InDelta(t, y, float64(curves[len(curves)-1][3].Y), 1e-9)
	}
	assert.Empty(t, quarters(&vg.PathComp{Radius: 7}))
}

// A curve with one control is the curve with two that it is drawn as, all along.
func TestCubic(t *testing.T) {
	const from, control, to = 3.0, 10.0, -2.0
	first, second := cubic(from, control, to)
	for u := 0.0; u <= 1; u += 0.1 {
		v := 1 - u
		assert.InDelta(t, v*v*from+2*v*u*control+u*u*to, v*v*v*from+3*v*v*u*first+3*v*u*u*second+u*u*u*to, 1e-12)
	}
}

// Moves, turns and scales of a canvas act in the order in which they were asked for, the last one first, and are
// forgotten when it says so. Its origin is its lower left corner.
func TestTransforms(t *testing.T) {
	s, err := New(600, 800, Meta{})
	require.NoError(t, err)
	s.AddPage()
	c := s.Canvas(100, 200, 50, 40).Canvas.(*canvas)
	where := func(x, y float64) [2]float64 {
		px, py := c.to.apply(vg.Point{X: vg.Length(x), Y: vg.Length(y)})
		return [2]float64{math.Round(px*1e6) / 1e6, math.Round(py*1e6) / 1e6}
	}
	assert.Equal(t, [2]float64{100, 240}, where(0, 0))
	assert.Equal(t, [2]float64{150, 200}, where(50, 40))
	c.Push()
	c.Translate(vg.Point{X: 10, Y: 5})
	c.Rotate(math.Pi / 2)
	assert.Equal(t, [2]float64{110, 235 - 7}, where(7, 0), "a quarter turn leads upwards")
	c.Scale(2, 3)
	assert.Equal(t, [2]float64{110 - 3, 235 - 2}, where(1, 1))
	c.Pop()
	assert.Equal(t, [2]float64{100, 240}, where(0, 0))
}

// printed is a file with one of everything.
func printed(t testing.TB, meta Meta) []byte {
	t.Helper()
	s, err := New(595, 842, meta)
	require.NoError(t, err)
	s.AddPage()
	s.Bookmark("one", 0, 10)
	s.Fill(10, 10, 20, 20, color.Black)
	s.Rule(10, 40, 100, 40, 1, color.Black)
	for i, text := range []string{"plain", "שלום", "مرحبا", "हिन्दी", "中文", "😀 \u0f40"} {
		s.Text(Style{Size: 12, Bold: i%2 == 1, Colour: color.Black}, 20, 60+20*float64(i), text)
	}
	c := s.Canvas(300, 300, 100, 100)
	var p vg.Path
	p.Move(vg.Point{X: 1, Y: 1})
	p.Line(vg.Point{X: 9, Y: 1})
	p.QuadTo(vg.Point{X: 12, Y: 4}, vg.Point{X: 9, Y: 9})
	p.CubeTo(vg.Point{X: 5, Y: 12}, vg.Point{X: 3, Y: 12}, vg.Point{X: 1, Y: 9})
	p.Arc(vg.Point{X: 5, Y: 5}, 4, 0, 2)
	p.Close()
	c.Fill(p)
	c.Stroke(p)
	c.SetColor(nil)
	c.DrawImage(vg.Rectangle{Max: vg.Point{X: 10, Y: 10}}, image.NewGray(image.Rect(0, 0, 2, 2)))
	var b bytes.Buffer
	require.NoError(t, s.Finish(&b))
	return b.Bytes()
}

// The same calls give the same bytes, whenever and by however many they are made.
func TestSameBytes(t *testing.T) {
	meta := Meta{Title: "A title", Language: "en", Made: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)}
	want := printed(t, meta)
	require.True(t, bytes.HasPrefix(want, []byte("%PDF-")))
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() { assert.True(t, bytes.Equal(want, printed(t, meta))) })
	}
	all.Wait()
	assert.Contains(t, string(want), "D:20260301120000")
	assert.NotContains(t, string(printed(t, Meta{})), "D:20260301", "without a time it tells none")
}

// What goes wrong comes out at the end, with what it was about.
func TestFailures(t *testing.T) {
	s, err := New(595, 842, Meta{})
	require.NoError(t, err)
	s.AddPage()
	s.Picture("logo", "png", bytes.NewReader([]byte("no picture")), 0, 0, 10, 10)
	assert.ErrorContains(t, s.Finish(io.Discard), "writing the PDF file")
}
