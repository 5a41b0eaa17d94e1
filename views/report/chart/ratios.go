package chart

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Ratio is one line of [Ratios]: how many misses came after a repair for each one before it, at equal running, with
// its 95 % limits. A ratio that is not known is NaN; High is +Inf where there is no upper limit.
type Ratio struct {
	Label            string
	Text             string // the ratio in figures, as the page has it
	Ratio, Low, High float64
	Overall          bool // sums up the lines above it
}

// Ratios draws a repair's ratios below each other, on a scale that has a zero and decades, with a line at 1 where
// nothing has changed. It is nil when there are none.
func (w *Words) Ratios(ratios []Ratio, width vg.Length) *Chart {
	if len(ratios) == 0 {
		return nil
	}
	d := ratioDrawing{Words: w, ratios: slices.Clone(ratios)}
	for i := range d.ratios {
		r := &d.ratios[i]
		r.Low, r.High = limits(r.Low, r.High)
	}
	d.scale, d.top = ratioScale(d.ratios)
	return &Chart{width: width, height: ratioRow*vg.Length(len(ratios)) + ratioAxis, paint: d.paint}
}

const (
	ratioRow  vg.Length = 25
	ratioAxis vg.Length = 42
	ratioLeft vg.Length = 8
)

type ratioDrawing struct {
	*Words
	ratios []Ratio
	scale  zeroLog
	top    float64
}

// ratioScale keeps 1 well within the picture.
func ratioScale(ratios []Ratio) (zeroLog, float64) {
	least, greatest := 0.1, 5.0
	for _, r := range ratios {
		for _, v := range []float64{r.Ratio, r.Low, r.High} {
			if v > 0 && !math.IsInf(v, 0) {
				least, greatest = min(least, v), max(greatest, v)
			}
		}
	}
	return zeroLog{decadeUnder(least, 0.001, 0.1)}, min(roundUp(greatest), 1000)
}

func (d *ratioDrawing) paint(c draw.Canvas) {
	p := panel()
	p.HideY()
	p.Y.Min, p.Y.Max = 0, float64(len(d.ratios))
	p.X.Scale, p.X.Min, p.X.Max = d.scale, 0, d.top
	p.X.Tick.Marker = d.scale.ticks(d.top)
	p.Add(paintFunc(d.paintGround), paintFunc(d.paintRows))
	right := d.valueWidth() + 8
	title := vg.Point{X: (c.Min.X + c.Max.X) / 2, Y: c.Min.Y + 5}
	c.FillText(style(ink, sizeLabel, draw.XCenter), title, d.Ratio)
	drawBetween(p, draw.Crop(c, 0, 0, axisTitle, -10), ratioLeft, right)
}

// valueWidth is the room that the ratios in figures want, to the right of the picture.
func (d *ratioDrawing) valueWidth() (widest vg.Length) {
	for i := range d.ratios {
		widest = max(widest, style(ink, sizeLabel, draw.XRight).Width(d.ratios[i].Text))
	}
	return widest
}

func (d *ratioDrawing) paintGround(c *draw.Canvas, x, _ func(float64) vg.Length) {
	for _, t := range d.scale.ticks(d.top) {
		if !t.IsMinor() {
			c.StrokeLine2(draw.LineStyle{Color: grid, Width: hair}, x(t.Value), c.Min.Y, x(t.Value), c.Max.Y)
		}
	}
	line := draw.LineStyle{Color: ink, Width: firm, Dashes: []vg.Length{4, 3}}
	c.StrokeLine2(line, x(1), c.Min.Y, x(1), c.Max.Y)
	above := c.Max.Y + 5
	c.FillText(style(muted, sizeLabel, draw.XRight), vg.Point{X: x(1) - 5, Y: above}, "\u2190 "+d.Fewer)
	c.FillText(style(muted, sizeLabel, draw.XLeft), vg.Point{X: x(1) + 5, Y: above}, d.Most+" \u2192")
}

func (d *ratioDrawing) paintRows(c *draw.Canvas, x, y func(float64) vg.Length) {
	for i := range d.ratios {
		r := &d.ratios[i]
		top := y(float64(len(d.ratios) - i))
		if r.Overall && i > 0 {
			c.StrokeLine2(draw.LineStyle{Color: ink, Width: hair}, c.Min.X, top, c.Max.X+8+d.valueWidth(), top)
		}
		end := c.Max.X + 8 + d.valueWidth()
		c.FillText(style(ink, sizeLabel, draw.XRight), vg.Point{X: end, Y: top - 17}, r.Text)
		label := style(ink, sizeLabel, draw.XLeft)
		paintBacked(c, label, vg.Point{X: c.Min.X + 2, Y: top - 7}, shortened(r.Label, end-c.Min.X-2))
		if !math.IsNaN(r.Ratio) {
			d.paintRatio(c, r, x, top-17)
		}
	}
}

// paintRatio paints the limits as a bar and the ratio as a diamond, larger where it sums up.
func (d *ratioDrawing) paintRatio(c *draw.Canvas, r *Ratio, x func(float64) vg.Length, y vg.Length) {
	colour, radius := park, vg.Length(3.2)
	if r.Overall {
		colour, radius = ink, 4.6
	}
	line := draw.LineStyle{Color: colour, Width: 1.4}
	low, high := x(min(r.Low, d.top)), x(min(r.High, d.top))
	c.StrokeLine2(line, low, y, high, y)
	c.StrokeLine2(line, low, y-2.5, low, y+2.5)
	if r.High > d.top {
		c.StrokeLines(line, []vg.Point{{X: high - 4, Y: y - 3}, {X: high, Y: y}, {X: high - 4, Y: y + 3}})
	} else {
		c.StrokeLine2(line, high, y-2.5, high, y+2.5)
	}
	if r.Ratio > d.top {
		return
	}
	at := vg.Point{X: x(r.Ratio), Y: y}
	c.DrawGlyphNoClip(draw.GlyphStyle{Color: ground, Radius: radius + 0.8, Shape: diamond{}}, at)
	c.DrawGlyphNoClip(draw.GlyphStyle{Color: colour, Radius: radius, Shape: diamond{}}, at)
}

// paintBacked paints a text with the ground behind it, so that no line runs through.
func paintBacked(c *draw.Canvas, s draw.TextStyle, at vg.Point, text string) {
	box := s.Rectangle(text).Add(at)
	c.SetColor(ground)
	c.Fill(box.Path())
	c.FillText(s, at, text)
}

// shortened cuts a text that is longer than its room, and shows that it was cut.
func shortened(text string, room vg.Length) string {
	s := style(ink, sizeLabel, draw.XLeft)
	if s.Width(text) <= room {
		return text
	}
	letters := []rune(text)
	for len(letters) > 0 && s.Width(string(letters)+"\u2026") > room {
		letters = letters[:len(letters)-1]
	}
	return strings.TrimRight(string(letters), " ,") + "\u2026"
}
