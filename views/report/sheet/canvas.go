package sheet

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Canvas is a rectangle of the page for a chart, given by its upper left corner.
func (s *Sheet) Canvas(x, y, width, height float64) draw.Canvas {
	c := &canvas{sheet: s, state: state{to: affine{1, 0, 0, -1, x, y + height}}}
	vg.Initialize(c)
	return draw.NewCanvas(c, vg.Length(width), vg.Length(height))
}

// canvas paints on a page what a chart paints on any canvas (vg.Canvas).
type canvas struct {
	sheet *Sheet
	state
	stack []state
}

type state struct {
	to     affine
	colour color.Color
	width  vg.Length
	dashes []float64
	offset float64
}

// affine maps (x, y) to (a x + c y + e, b x + d y + f).
type affine struct{ a, b, c, d, e, f float64 }

func (m affine) apply(p vg.Point) (x, y float64) {
	return m.a*float64(p.X) + m.c*float64(p.Y) + m.e, m.b*float64(p.X) + m.d*float64(p.Y) + m.f
}

// after is the map that does n first.
func (m affine) after(n affine) affine {
	return affine{
		m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b,
		m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f,
	}
}

// The methods of vg.Canvas.

func (c *canvas) SetLineWidth(w vg.Length) { c.width = w }

func (c *canvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.dashes = make([]float64, len(pattern))
	for i, d := range pattern {
		c.dashes[i] = float64(d)
	}
	c.offset = float64(offset)
}

func (c *canvas) SetColor(colour color.Color) {
	if colour == nil {
		colour = color.Black
	}
	c.colour = colour
}

func (c *canvas) Rotate(angle float64) {
	sin, cos := math.Sincos(angle)
	c.to = c.to.after(affine{cos, sin, -sin, cos, 0, 0})
}

func (c *canvas) Translate(by vg.Point) {
	c.to = c.to.after(affine{1, 0, 0, 1, float64(by.X), float64(by.Y)})
}

func (c *canvas) Scale(x, y float64) { c.to = c.to.after(affine{x, 0, 0, y, 0, 0}) }

func (c *canvas) Push() { c.stack = append(c.stack, c.state) }

func (c *canvas) Pop() {
	last := len(c.stack) - 1
	c.state, c.stack = c.stack[last], c.stack[:last]
}

func (c *canvas) Stroke(p vg.Path) {
	if c.width <= 0 || len(p) == 0 {
		return
	}
	pdf := c.sheet.pdf
	pdf.SetLineWidth(float64(c.width))
	pdf.SetDashPattern(c.dashes, c.offset)
	pdf.SetDrawColor(rgb(c.colour))
	c.trace(p)
	pdf.DrawPath("D")
}

func (c *canvas) Fill(p vg.Path) {
	if len(p) == 0 {
		return
	}
	c.sheet.pdf.SetFillColor(rgb(c.colour))
	c.trace(p)
	c.sheet.pdf.DrawPath("F")
}

func (c *canvas) FillString(face font.Face, at vg.Point, text string) {
	if face.Font.Size == 0 {
		return
	}
	x, y := c.to.apply(at)
	style := Style{Size: float64(face.Font.Size), Colour: c.colour}
	if turn := -math.Atan2(c.to.b, c.to.a); turn != 0 {
		c.sheet.pdf.TransformBegin()
		c.sheet.pdf.TransformRotate(turn*180/math.Pi, x, y)
		defer c.sheet.pdf.TransformEnd()
	}
	c.sheet.Text(style, x, y, text)
}

// DrawImage paints a picture. No chart has one yet; a canvas must have it all the same.
func (c *canvas) DrawImage(within vg.Rectangle, picture image.Image) {
	var b bytes.Buffer
	if err := png.Encode(&b, picture); err != nil {
		c.sheet.pdf.SetError(err)
		return
	}
	x0, y0 := c.to.apply(within.Min)
	x1, y1 := c.to.apply(within.Max)
	c.sheet.Picture("chart", "png", &b, min(x0, x1), min(y0, y1), math.Abs(x1-x0), math.Abs(y1-y0))
}

// trace gives a path to the page.
func (c *canvas) trace(p vg.Path) {
	pdf := c.sheet.pdf
	for i := range p {
		part := &p[i]
		x, y := c.to.apply(part.Pos)
		switch part.Type {
		case vg.MoveComp:
			pdf.MoveTo(x, y)
		case vg.LineComp:
			pdf.LineTo(x, y)
		case vg.ArcComp:
			c.arc(part, i == 0)
		case vg.CurveComp:
			cx, cy := c.to.apply(part.Control[0])
			if len(part.Control) == 1 {
				c.sheet.curve(cx, cy, x, y)
				continue
			}
			dx, dy := c.to.apply(part.Control[1])
			pdf.CurveBezierCubicTo(cx, cy, dx, dy, x, y)
		case vg.CloseComp:
			pdf.ClosePath()
		}
	}
}

// arc draws an arc; the path goes straight to where it begins.
func (c *canvas) arc(part *vg.PathComp, first bool) {
	for i, q := range quarters(part) {
		x, y := c.to.apply(q[0])
		switch {
		case i > 0:
		case first:
			c.sheet.pdf.MoveTo(x, y)
		default:
			c.sheet.pdf.LineTo(x, y)
		}
		cx, cy := c.to.apply(q[1])
		dx, dy := c.to.apply(q[2])
		x, y = c.to.apply(q[3])
		c.sheet.pdf.CurveBezierCubicTo(cx, cy, dx, dy, x, y)
	}
}

// quarters are an arc as curves of at most a quarter turn each: where each begins, its two controls, where it ends.
// They are off by less than 0.03 % of the radius.
func quarters(part *vg.PathComp) (curves [][4]vg.Point) {
	pieces := int(math.Ceil(math.Abs(part.Angle)/(math.Pi/2) - 1e-9))
	step := part.Angle / float64(max(pieces, 1))
	pull := 4.0 / 3 * math.Tan(step/4)
	on := func(angle, along float64) vg.Point { // a point of the circle, moved along its tangent
		sin, cos := math.Sincos(angle)
		r := part.Radius
		return vg.Point{X: part.Pos.X + r*vg.Length(cos-along*sin), Y: part.Pos.Y + r*vg.Length(sin+along*cos)}
	}
	for i := range pieces {
		from := part.Start + float64(i)*step
		curves = append(curves, [4]vg.Point{on(from, 0), on(from, pull), on(from+step, -pull), on(from+step, 0)})
	}
	return curves
}
