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
func Map(spots []Spot, width vg.Length) *Chart {
	spots = slices.DeleteFunc(slices.Clone(spots), func(s Spot) bool {
		return !(s.Firings > 0) || !known(s.Misses) || int(s.Load) >= misfire.LoadBands || int(s.RPM) >= misfire.RPMBands
	})
	if len(spots) == 0 {
		return nil
	}
	for i := range spots {
		spots[i].Thin = spots[i].Thin || !known(spots[i].Rate)
	}
	d := heatDrawing{spots: spots}
	height := heatRow*vg.Length(misfire.LoadBands) + heatAxis + d.key().height(width)
	return &Chart{width: width, height: height, paint: d.paint}
}

const (
	heatRow  vg.Length = 24
	heatAxis vg.Length = 30
)

type heatDrawing struct{ spots []Spot }

// shades are the classes of rates: up to and without the next one's start.
var shades = []struct {
	from float64
	name string
}{
	{0, "none"}, {math.SmallestNonzeroFloat64, "under 1"}, {1, "1 to 5"}, {5, "5 to 20"}, {20, "20 to 100"}, {100, "100 or more"},
}

// shade is the class of a rate.
func shade(rate float64) int {
	class := 0
	for i := range shades {
		if rate >= shades[i].from {
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
		k = append(k, keyItem{shades[i].name, swatch(heat[i])})
	}
	if slices.ContainsFunc(d.spots, func(s Spot) bool { return s.Thin }) {
		k = append(k, keyItem{wordThin, func(c *draw.Canvas, box vg.Rectangle) { hatch(c, box) }})
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
		speeds[i] = wordSpeed(misfire.RPMBand(i))
	}
	nominal(&p.X, speeds)
	nominal(&p.Y, loads)
	p.X.Label.Text, p.Y.Label.Text = wordBandRPM, wordBandLoad
	p.Add(paintFunc(d.paintSpots))
	p.Draw(draw.Crop(rest, 0, -1, 0, 0))
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
		text := countText(s)
		if style(ink, sizeLabel, draw.XCenter).Width(text) > box.Max.X-box.Min.X-4 {
			text = figures(math.Round(s.Misses))
		}
		paintBacked(c, style(ink, sizeLabel, draw.XCenter), middle, text)
		return
	}
	class := shade(s.Rate)
	c.SetColor(heat[class])
	c.Fill(box.Path())
	c.FillText(style(over(class), sizeLabel+0.5, draw.XCenter), middle, rateText(s.Rate))
}

// rateText writes a rate: to a tenth where that tells, and never a nought for what was not none.
func rateText(rate float64) string {
	switch {
	case rate > 0 && rate < 0.05:
		return "under 0.05"
	case rate >= 10:
		return number(math.Round(rate))
	case rate == 0:
		return "0"
	}
	return figures(math.Round(rate*10) / 10)
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
