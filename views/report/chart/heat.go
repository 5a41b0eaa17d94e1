package chart

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stumble/misfire"
)

// Spot is one cell of the map of load and engine speed: misses and firings of one cylinder, or of all.
type Spot struct {
	Load    misfire.LoadBand
	RPM     misfire.RPMBand
	Misses  float64
	Firings float64
	Rate    float64 // misses per 1,000 firings
	Thin    bool    // too little running for a rate
}

// Map draws where in load and engine speed an engine misses. A spot with too little running is hatched and shows what
// was counted; one without any running stays empty. It is nil when there was no running.
func (w *Words) Map(spots []Spot, width vg.Length) *Chart {
	spots = slices.DeleteFunc(slices.Clone(spots), func(s Spot) bool {
		return !(s.Firings > 0) || !known(s.Misses) || int(s.Load) >= misfire.LoadBands || int(s.RPM) >= misfire.RPMBands
	})
	if len(spots) == 0 {
		return nil
	}
	for i := range spots {
		spots[i].Thin = spots[i].Thin || !known(spots[i].Rate)
	}
	d := heatDrawing{w, spots}
	height := heatRow*vg.Length(misfire.LoadBands) + heatAxis + d.key().height(width)
	return &Chart{width: width, height: height, paint: d.paint}
}

const (
	heatRow  vg.Length = 24
	heatAxis vg.Length = 30
)

type heatDrawing struct {
	*Words
	spots []Spot
}

// shades are where the classes of rates begin: none, some, and so on.
var shades = []float64{0, math.SmallestNonzeroFloat64, 1, 5, 20, 100}

// class names a class of rates.
func (d *heatDrawing) class(i int) string {
	switch {
	case i == 0:
		return d.None
	case i == 1:
		return d.Under(number(shades[2]))
	case i < len(shades)-1:
		return d.Range(number(shades[i]), number(shades[i+1]))
	}
	return d.More(number(shades[i]))
}

// shade is the class of a rate.
func shade(rate float64) int {
	class := 0
	for i := range shades {
		if rate >= shades[i] {
			class = i
		}
	}
	return class
}

// over is the colour of letters on a class.
func over(class int) role {
	if class > lastPale {
		return onDeep
	}
	return onPale
}

// lastPale is the last class of which letters stand in the colour of those beside it.
const lastPale = 3

func (d *heatDrawing) key() key {
	var k key
	for i := range shades {
		k = append(k, keyItem{d.class(i), swatch(heat[i])})
	}
	if slices.ContainsFunc(d.spots, func(s Spot) bool { return s.Thin }) {
		k = append(k, keyItem{d.TooLittle, func(c *draw.Canvas, box vg.Rectangle) { hatch(c, box) }})
	}
	return k
}

func (d *heatDrawing) paint(c draw.Canvas) {
	rest := d.key().draw(c)
	p := panel()
	loads := make([]string, misfire.LoadBands)
	for i := range loads {
		loads[i] = misfire.LoadBand(i).String()
	}
	speeds := make([]string, misfire.RPMBands)
	for i := range speeds {
		speeds[i] = speed(misfire.RPMBand(i))
	}
	nominal(&p.X, speeds)
	nominal(&p.Y, loads)
	p.X.Label.Text, p.Y.Label.Text = d.Speed, d.LoadBand
	p.Add(paintFunc(d.paintSpots))
	p.Draw(draw.Crop(rest, 2, -1, 0, 0))
}

func (d *heatDrawing) paintSpots(c *draw.Canvas, x, y func(float64) vg.Length) {
	box := func(rpm, load float64) vg.Rectangle {
		return vg.Rectangle{Min: vg.Point{X: x(rpm - 0.5), Y: y(load - 0.5)}, Max: vg.Point{X: x(rpm + 0.5), Y: y(load + 0.5)}}
	}
	for _, s := range d.spots {
		d.paintSpot(c, &s, box(float64(s.RPM), float64(s.Load)))
	}
	c.SetLineStyle(draw.LineStyle{Color: muted, Width: hair})
	for rpm := range misfire.RPMBands {
		for load := range misfire.LoadBands {
			c.Stroke(box(float64(rpm), float64(load)).Path())
		}
	}
}

func (d *heatDrawing) paintSpot(c *draw.Canvas, s *Spot, box vg.Rectangle) {
	middle := vg.Point{X: (box.Min.X + box.Max.X) / 2, Y: (box.Min.Y + box.Max.Y) / 2}
	if s.Thin {
		hatch(c, box)
		text := d.Of(s.Misses, s.Firings)
		if style(ink, sizeLabel, draw.XCenter).Width(text) > box.Max.X-box.Min.X-4 {
			text = number(math.Round(s.Misses))
		}
		paintBacked(c, style(ink, sizeLabel, draw.XCenter), middle, text)
		return
	}
	class := shade(s.Rate)
	c.SetColor(heat[class])
	c.Fill(box.Path())
	c.FillText(style(over(class), sizeLabel+0.5, draw.XCenter), middle, d.Rate(s.Rate))
}

// hatch fills a box with slanting lines, and nothing outside it.
func hatch(c *draw.Canvas, box vg.Rectangle) {
	line := draw.LineStyle{Color: muted, Width: 0.4}
	w, h := box.Max.X-box.Min.X, box.Max.Y-box.Min.Y
	for d := vg.Length(2); d < w+h; d += 4 {
		from := vg.Point{X: box.Min.X + max(0, d-h), Y: box.Min.Y + min(d, h)}
		to := vg.Point{X: box.Min.X + min(d, w), Y: box.Min.Y + max(0, d-w)}
		c.StrokeLines(line, []vg.Point{from, to})
	}
	c.Stroke(box.Path())
}
