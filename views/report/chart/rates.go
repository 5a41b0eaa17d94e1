package chart

import (
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stumble/misfire/gear"
)

// Rate is how often one cylinder missed in one gear state, per 1,000 firings, with its 95 % limits. A rate that is not
// known is NaN. High is +Inf where only the lower limit is known, because the counter stood at its end.
type Rate struct {
	Cylinder        int
	Gear            gear.State
	Rate, Low, High float64
}

// most is the end of the scale of rates: every firing a miss.
const most = 1000

// Rates draws how often each cylinder missed in each gear state, on a scale that has a zero and decades. The ceiling is
// the rate up to which a cylinder counts as healthy. It is nil when no rate is known.
func (w *Words) Rates(rates []Rate, ceiling float64, width vg.Length) *Chart {
	if !slices.ContainsFunc(rates, func(r Rate) bool { return known(r.Rate) }) {
		return nil
	}
	rates = slices.Clone(rates)
	for i := range rates {
		r := &rates[i]
		r.Low, r.High = limits(r.Low, r.High)
	}
	d := rateDrawing{Words: w, rates: rates, ceiling: ceiling, columns: columnsOf(rates), gears: gearsOf(rates)}
	d.scale, d.top = rateScale(rates, ceiling)
	height := min(0.45*width, 200) + d.key().height(width) + axisTitle
	return &Chart{width: width, height: height, paint: d.paint}
}

type rateDrawing struct {
	*Words
	rates   []Rate
	ceiling float64
	columns []int // cylinders
	gears   []gear.State
	scale   zeroLog
	top     float64
}

func columnsOf(rates []Rate) (cylinders []int) {
	for _, r := range rates {
		cylinders = append(cylinders, r.Cylinder)
	}
	slices.Sort(cylinders)
	return slices.Compact(cylinders)
}

// gearsOf are the gear states met with, in the charts' order.
func gearsOf(rates []Rate) (met []gear.State) {
	for _, s := range gears {
		if slices.ContainsFunc(rates, func(r Rate) bool { return r.Gear == s }) {
			met = append(met, s)
		}
	}
	return met
}

// rateScale chooses the knee under the least that must be told apart from zero, and the end over the greatest.
func rateScale(rates []Rate, ceiling float64) (zeroLog, float64) {
	least, greatest := ceiling, ceiling
	for _, r := range rates {
		for _, v := range []float64{r.Rate, r.High} {
			if v > 0 && !math.IsInf(v, 0) {
				least, greatest = min(least, v), max(greatest, v)
			}
		}
		if math.IsInf(r.High, 1) {
			greatest = most
		}
	}
	return zeroLog{decadeUnder(least, 0.01, 1)}, min(roundUp(greatest*1.05), max(most, greatest))
}

func (d *rateDrawing) key() key {
	var k key
	for _, s := range d.gears {
		k = append(k, keyItem{d.Gear(s), func(c *draw.Canvas, box vg.Rectangle) {
			middle := vg.Point{X: (box.Min.X + box.Max.X) / 2, Y: (box.Min.Y + box.Max.Y) / 2}
			c.StrokeLine2(draw.LineStyle{Color: strong(s), Width: firm}, middle.X, box.Min.Y-1, middle.X, box.Max.Y+1)
			mark(c, s, middle)
		}})
	}
	ceiling := keyItem{d.Healthy(number(d.ceiling)), func(c *draw.Canvas, box vg.Rectangle) {
		y := (box.Min.Y + box.Max.Y) / 2
		c.StrokeLine2(ceilingLine(), box.Min.X, y, box.Max.X, y)
	}}
	return append(k, ceiling, keyItem{text: d.Limits})
}

// axisTitle is the room above a picture for what its upright scale shows.
const axisTitle vg.Length = 12

func ceilingLine() draw.LineStyle {
	return draw.LineStyle{Color: muted, Width: firm, Dashes: []vg.Length{4, 2.5}}
}

func (d *rateDrawing) paint(c draw.Canvas) {
	rest := d.key().draw(c)
	rest.FillText(style(ink, sizeLabel, draw.XLeft), vg.Point{X: rest.Min.X, Y: rest.Max.Y - 5}, d.PerThousand)
	rest = draw.Crop(rest, 0, -1, 0, -axisTitle)
	p := panel()
	p.Y.Scale, p.Y.Min, p.Y.Max = d.scale, 0, d.top
	p.Y.Tick.Marker = d.scale.ticks(d.top)
	names := make([]string, len(d.columns))
	for i, cylinder := range d.columns {
		names[i] = strconv.Itoa(cylinder)
	}
	nominal(&p.X, names)
	p.X.Padding = 5 // markers at zero reach below it
	p.X.Label.Text = d.Cylinder
	p.Add(paintFunc(d.paintGround), paintFunc(d.paintMarks))
	p.Draw(rest)
}

// paintGround paints the lines that rates are read from.
func (d *rateDrawing) paintGround(c *draw.Canvas, x, y func(float64) vg.Length) {
	for _, t := range d.scale.ticks(d.top) {
		if !t.IsMinor() {
			c.StrokeLine2(draw.LineStyle{Color: grid, Width: hair}, c.Min.X, y(t.Value), c.Max.X, y(t.Value))
		}
	}
	for i := range len(d.columns) - 1 {
		at := x(float64(i) + 0.5)
		c.StrokeLine2(draw.LineStyle{Color: grid, Width: hair}, at, c.Min.Y, at, c.Max.Y)
	}
	c.StrokeLine2(draw.LineStyle{Color: ink, Width: hair}, c.Min.X, y(0), c.Max.X, y(0))
	c.StrokeLine2(ceilingLine(), c.Min.X, y(d.ceiling), c.Max.X, y(d.ceiling))
}

func (d *rateDrawing) paintMarks(c *draw.Canvas, x, y func(float64) vg.Length) {
	for i, cylinder := range d.columns {
		if !told(d.rates, cylinder) {
			c.FillText(style(muted, sizeSmall, draw.XCenter), vg.Point{X: x(float64(i)), Y: y(0) + 10}, d.NoCount)
		}
	}
	for _, r := range d.rates {
		if !known(r.Rate) {
			continue
		}
		column, at := slices.Index(d.columns, r.Cylinder), slices.Index(d.gears, r.Gear)
		n := float64(len(d.gears))
		d.paintMark(c, &r, x(float64(column)+0.8*(float64(at)+0.5-n/2)/n), y)
	}
}

// told reports whether any rate of a cylinder is known.
func told(rates []Rate, cylinder int) bool {
	return slices.ContainsFunc(rates, func(r Rate) bool { return r.Cylinder == cylinder && known(r.Rate) })
}

// known tells a number from what is none.
func known(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// limits are limits as they can be drawn: from nothing without a lower one, without end without an upper one.
func limits(low, high float64) (float64, float64) {
	if !known(low) {
		low = 0
	}
	if math.IsNaN(high) {
		high = math.Inf(1)
	}
	return low, high
}

func (d *rateDrawing) paintMark(c *draw.Canvas, r *Rate, x vg.Length, y func(float64) vg.Length) {
	line := draw.LineStyle{Color: strong(r.Gear), Width: firm}
	low, high := y(r.Low), y(min(r.High, d.top))
	c.StrokeLine2(line, x, low, x, high)
	c.StrokeLine2(line, x-2, low, x+2, low)
	if math.IsInf(r.High, 1) {
		c.StrokeLines(line, []vg.Point{{X: x - 3, Y: high - 4}, {X: x, Y: high}, {X: x + 3, Y: high - 4}})
	} else {
		c.StrokeLine2(line, x-2, high, x+2, high)
	}
	mark(c, r.Gear, vg.Point{X: x, Y: y(min(r.Rate, d.top))})
}

// mark paints the marker of a gear state.
func mark(c *draw.Canvas, s gear.State, at vg.Point) {
	shape, radius := draw.GlyphDrawer(draw.CircleGlyph{}), vg.Length(2.6)
	switch s {
	case gear.Drive, gear.InGear:
		shape = draw.BoxGlyph{}
	case gear.Reverse:
		shape, radius = draw.PyramidGlyph{}, 3.4
	case gear.Moving:
		shape, radius = diamond{}, 3.4
	}
	c.DrawGlyphNoClip(draw.GlyphStyle{Color: ground, Radius: radius + 0.5, Shape: shape}, at)
	c.DrawGlyphNoClip(draw.GlyphStyle{Color: strong(s), Radius: radius, Shape: shape}, at)
	if s == gear.Unknown {
		c.DrawGlyphNoClip(draw.GlyphStyle{Color: ground, Radius: radius / 2, Shape: shape}, at)
	}
}

// diamond is a filled square on its corner.
type diamond struct{}

// DrawGlyph paints it (draw.GlyphDrawer).
func (diamond) DrawGlyph(c *draw.Canvas, s draw.GlyphStyle, at vg.Point) {
	c.FillPolygon(s.Color, []vg.Point{
		{X: at.X - s.Radius, Y: at.Y}, {X: at.X, Y: at.Y + s.Radius}, {X: at.X + s.Radius, Y: at.Y}, {X: at.X, Y: at.Y - s.Radius},
	})
}
