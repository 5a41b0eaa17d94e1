package chart

import (
	"image/color"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// keyItem is one entry of a chart's key: a sample beside what it means. Without a sample it is a remark.
type keyItem struct {
	text   string
	sample func(c *draw.Canvas, box vg.Rectangle)
}

type key []keyItem

const (
	keyLine   vg.Length = 11
	keySample vg.Length = 13
	keyGap    vg.Length = 9
)

func (k keyItem) width() vg.Length {
	s := style(ink, sizeLabel, draw.XLeft)
	if k.sample == nil {
		return s.Width(k.text)
	}
	return keySample + 3 + s.Width(k.text)
}

// height is the room that the key wants on a canvas so wide, with what parts it from the picture.
func (k key) height(width vg.Length) vg.Length {
	return vg.Length(len(k.lines(width)))*keyLine + 4
}

// lines breaks the key into lines of at most a width.
func (k key) lines(width vg.Length) (lines []key) {
	room := vg.Length(-1)
	for _, item := range k {
		if w := item.width(); w > room {
			lines = append(lines, nil)
			room = width
		}
		lines[len(lines)-1] = append(lines[len(lines)-1], item)
		room -= item.width() + keyGap
	}
	return lines
}

// draw paints the key at the top of a canvas and gives what is left below it.
func (k key) draw(c draw.Canvas) draw.Canvas {
	y := c.Max.Y - keyLine/2
	for _, line := range k.lines(c.Max.X - c.Min.X) {
		x := c.Min.X
		for _, item := range line {
			at, colour := x, color.Color(muted)
			if item.sample != nil {
				item.sample(&c, vg.Rectangle{
					Min: vg.Point{X: x, Y: y - 3.5}, Max: vg.Point{X: x + keySample, Y: y + 3.5},
				})
				at, colour = x+keySample+3, ink
			}
			c.FillText(style(colour, sizeLabel, draw.XLeft), vg.Point{X: at, Y: y}, item.text)
			x += item.width() + keyGap
		}
		y -= keyLine
	}
	return draw.Crop(c, 0, 0, 0, -k.height(c.Max.X-c.Min.X))
}

// swatch is a sample of an area.
func swatch(fill role) func(*draw.Canvas, vg.Rectangle) {
	return func(c *draw.Canvas, box vg.Rectangle) {
		c.SetColor(fill)
		c.Fill(box.Path())
		c.SetLineStyle(draw.LineStyle{Color: muted, Width: hair})
		c.Stroke(box.Path())
	}
}
