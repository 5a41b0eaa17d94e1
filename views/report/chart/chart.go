package chart

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Wide is the width of a chart that fills an A4 page between its margins; Narrow fits a telephone held upright.
const (
	Wide   = 170 * vg.Millimeter
	Narrow = 85 * vg.Millimeter
)

// Chart is a picture that is ready to be painted. It does not change, so several may paint it at once.
type Chart struct {
	title, about  string // for those who cannot see it
	width, height vg.Length
	paint         func(draw.Canvas)
}

// Size is the room that the chart wants.
func (c *Chart) Size() (width, height vg.Length) { return c.width, c.height }

// Draw paints the chart over the whole canvas, in colours for white paper.
func (c *Chart) Draw(on draw.Canvas) { c.paint(on) }

// Label names the chart and tells what it shows, in words of the page it stands on, for those who cannot see it. It
// gives a chart of the same picture.
func (c *Chart) Label(title, about string) *Chart {
	labelled := *c
	labelled.title, labelled.about = title, about
	return &labelled
}

// panel is a plot in the house's looks, with nothing on it yet.
func panel() *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	for _, axis := range []*plot.Axis{&p.X, &p.Y} {
		axis.LineStyle = draw.LineStyle{Color: ink, Width: hair}
		axis.Tick.LineStyle = axis.LineStyle
		axis.Tick.Length = 3
		axis.Padding = 0
		axis.Label.Padding = 3
		restyle(&axis.Label.TextStyle, ink, sizeLabel)
		restyle(&axis.Tick.Label, ink, sizeLabel)
	}
	return p
}

// nominal makes an axis one of names at whole numbers from 0, without line and ticks.
func nominal(axis *plot.Axis, names []string) {
	ticks := make([]plot.Tick, len(names))
	for i, name := range names {
		ticks[i] = plot.Tick{Value: float64(i), Label: name}
	}
	axis.Tick.Marker = plot.ConstantTicks(ticks)
	axis.Tick.Width, axis.Tick.Length, axis.Width = 0, 0, 0
	axis.Padding = 3
	axis.Min, axis.Max = -0.5, float64(len(names))-0.5
}

// paintFunc is a picture's part that is painted within a plot's axes.
type paintFunc func(c *draw.Canvas, x, y func(float64) vg.Length)

// Plot paints it, as a plot asks of what is added to it.
func (f paintFunc) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	f(&c, x, y)
}

// drawBetween draws a plot so that its data lie between two distances from the canvas's edges, however wide its names
// are: plots above each other then share their time.
func drawBetween(p *plot.Plot, c draw.Canvas, left, right vg.Length) {
	data := p.DataCanvas(c)
	p.Draw(draw.Crop(c, left-(data.Min.X-c.Min.X), (c.Max.X-data.Max.X)-right, 0, 0))
}

// rectangle adds a rectangle to a path.
func rectangle(p *vg.Path, x0, y0, x1, y1 vg.Length) {
	p.Move(vg.Point{X: x0, Y: y0})
	p.Line(vg.Point{X: x1, Y: y0})
	p.Line(vg.Point{X: x1, Y: y1})
	p.Line(vg.Point{X: x0, Y: y1})
	p.Close()
}
