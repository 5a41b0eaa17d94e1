package chart

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
)

// Drive is what a strip shows of a drive.
type Drive struct {
	Moments   []misfire.Moment // in order of time, one a second; a second that is missing was not recorded
	Cylinders int
	Uncounted []int // cylinders that the car has no counter for
	Marks     []time.Time
}

// Strip draws a drive from left to right: which gear it was in, engine speed and load, and in a lane for each cylinder
// the misses counted. A long drive is drawn closer, several seconds to a bin, and no second of it is left out. It is
// nil when there is no drive.
func (w *Words) Strip(drive Drive, width vg.Length) *Chart {
	if len(drive.Moments) == 0 || drive.Cylinders < 1 {
		return nil
	}
	d := stripDrawing{Words: w, Drive: drive}
	d.Cylinders = min(d.Cylinders, engine.MaxCylinders)
	d.width, d.left = width, d.leftOf(width)
	d.bins, d.start, d.each = thin(d.Moments, int((width-d.left-stripRight)/leastBin))
	for _, s := range gears {
		if len(runs(d.bins, inGear(s))) > 0 {
			d.gears = append(d.gears, s)
		}
	}
	d.rows = d.rowsOf()
	height := d.key().height(width) + timeTitle
	for _, part := range d.parts() {
		height += part.height + stripGap
	}
	return &Chart{width: width, height: height, paint: d.paint}
}

const (
	leastBin    vg.Length = 0.5 // width of a bin of a long drive
	leastTick   vg.Length = 0.8 // width that a miss is never drawn under
	stripMargin vg.Length = 6   // between names and the drive
	stripRight  vg.Length = 10  // how far from the edge the drive ends
	stripGap    vg.Length = 5
	rowHeight   vg.Length = 8
	timeAxis    vg.Length = 13 // the times below the lanes
	timeTitle   vg.Length = 9  // and what they are
	laneTitle   vg.Length = 14
)

type stripDrawing struct {
	*Words
	Drive
	start time.Time
	bins  []bin
	each  time.Duration
	gears []gear.State // met with in this drive
	rows  []stripRow
	width vg.Length
	left  vg.Length // where the drive begins
}

func inGear(s gear.State) func(*bin) bool { return func(b *bin) bool { return b.inGear[s] > 0 } }

func notJudged(b *bin) bool { return b.notJudged > 0 }

// rowsOf are the rows above the curves: gear states and what else comes and goes.
func (d *stripDrawing) rowsOf() (rows []stripRow) {
	for _, s := range d.gears {
		rows = append(rows, stripRow{d.Gear(s), strong(s), inGear(s)})
	}
	if len(runs(d.bins, notJudged)) > 0 {
		rows = append(rows, stripRow{d.NotJudged, muted, notJudged})
	}
	if len(d.Marks) > 0 {
		rows = append(rows, stripRow{name: d.Marked})
	}
	return rows
}

// stripRow is one row, with the bins that it is filled in; the marks, which come last, are at their own times.
type stripRow struct {
	name   string
	colour role
	holds  func(*bin) bool
}

func (d *stripDrawing) rowNames() []string {
	names := make([]string, len(d.rows))
	for i, row := range d.rows {
		names[i] = shortened(row.name, d.left-stripMargin)
	}
	return names
}

// leftOf is where the drive begins: right of all names, as long as they leave most of the width to it.
func (d *stripDrawing) leftOf(width vg.Length) vg.Length {
	s := style(ink, sizeLabel, draw.XRight)
	widest := vg.Length(0)
	for _, s := range gears {
		if slices.ContainsFunc(d.Moments, func(m misfire.Moment) bool { return m.Gear == s }) {
			widest = max(widest, style(ink, sizeLabel, draw.XRight).Width(d.Gear(s)))
		}
	}
	for _, name := range []string{d.NotJudged, d.Marked} {
		widest = max(widest, s.Width(name))
	}
	for _, name := range d.laneNames() {
		widest = max(widest, s.Width(name)+laneTitle)
	}
	return min(max(widest+stripMargin, 44), width/3)
}

// part is one of the plots that stand above each other.
type part struct {
	height vg.Length
	plot   *plot.Plot
}

func (d *stripDrawing) parts() []part {
	rows := d.timed(nil)
	nominal(&rows.Y, d.rowNames())
	upsideDown(&rows.Y)
	rows.Add(paintFunc(d.paintRows))

	rpm := d.timed(func(b *bin) *spread { return &b.rpm })
	rpm.Y.Label.Text = d.RPM
	rpm.Y.Max = max(1, math.Ceil(d.highest(func(b *bin) *spread { return &b.rpm })/1000)) * 1000
	rpm.Y.Tick.Marker = thirds(rpm.Y.Max)

	load := d.timed(func(b *bin) *spread { return &b.load })
	load.Y.Label.Text = d.Load
	load.Y.Max = max(100, roundUp(d.highest(func(b *bin) *spread { return &b.load })))
	load.Y.Tick.Marker = thirds(load.Y.Max)

	lanes := d.timed(nil)
	names := d.laneNames()
	for i := range names {
		names[i] = shortened(names[i], d.left-stripMargin-laneTitle)
	}
	nominal(&lanes.Y, names)
	upsideDown(&lanes.Y)
	lanes.Y.Label.Text = d.Cylinder
	lanes.X.Tick.Marker = d.timeTicks()
	lanes.X.Tick.Width, lanes.X.Tick.Length, lanes.X.Width = hair, 3, hair
	lanes.Add(paintFunc(d.paintLanes))

	lane := max(10, 16-vg.Length(d.Cylinders)/2)
	return []part{
		{rowHeight * vg.Length(len(d.rows)), rows}, {52, rpm}, {36, load},
		{lane*vg.Length(d.Cylinders) + timeAxis, lanes},
	}
}

// timed is a plot over the time of the drive, with a curve of what is read in the bins.
func (d *stripDrawing) timed(read func(*bin) *spread) *plot.Plot {
	p := panel()
	p.HideX()
	p.X.Min, p.X.Max = 0, float64(len(d.bins))
	p.Y.Min = 0
	p.Add(paintFunc(d.paintGears))
	if read != nil {
		p.Add(paintFunc(func(c *draw.Canvas, x, y func(float64) vg.Length) { d.paintCurve(c, x, y, read) }))
	}
	return p
}

func upsideDown(axis *plot.Axis) { axis.Scale = plot.InvertedScale{Normalizer: plot.LinearScale{}} }

func thirds(most float64) plot.ConstantTicks {
	return plot.ConstantTicks{{Value: 0, Label: "0"}, {Value: most / 2, Label: number(most / 2)}, {Value: most, Label: number(most)}}
}

func (d *stripDrawing) highest(read func(*bin) *spread) float64 {
	most := 0.0
	for i := range d.bins {
		most = max(most, read(&d.bins[i]).high)
	}
	return most
}

func (d *stripDrawing) laneNames() []string {
	names := make([]string, d.Cylinders)
	for i := range names {
		names[i] = strconv.Itoa(i + 1)
	}
	for _, cylinder := range d.Uncounted {
		if cylinder >= 1 && cylinder <= d.Cylinders {
			names[cylinder-1] += " " + strings.Join(strings.Fields(d.NoCount), " ")
		}
	}
	return names
}

func (d *stripDrawing) key() key {
	k := key{
		{d.Spread, func(c *draw.Canvas, box vg.Rectangle) {
			c.FillPolygon(muted, []vg.Point{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}})
			middle := (box.Min.Y + box.Max.Y) / 2
			c.StrokeLine2(draw.LineStyle{Color: ink, Width: firm}, box.Min.X, middle, box.Max.X, middle)
		}},
		{d.Ticks, func(c *draw.Canvas, box vg.Rectangle) {
			var p vg.Path
			for i, n := range []int{1, 10, 100} {
				x := box.Min.X + vg.Length(i)*4 + 1
				rectangle(&p, x, box.Min.Y, x+1.5, box.Min.Y+vg.Length(tall(n))*(box.Max.Y-box.Min.Y+1))
			}
			c.SetColor(miss)
			c.Fill(p)
		}},
	}
	if len(runs(d.bins, unrecorded)) > 0 {
		k = append(k, keyItem{text: d.NotRecorded})
	}
	return k
}

func unrecorded(b *bin) bool { return b.seconds == 0 }

func (d *stripDrawing) paint(c draw.Canvas) {
	rest := d.key().draw(c)
	for _, part := range d.parts() {
		on := draw.Crop(rest, 0, -2, rest.Max.Y-rest.Min.Y-part.height, 0)
		drawBetween(part.plot, on, d.left, stripRight)
		rest = draw.Crop(rest, 0, 0, 0, -part.height-stripGap)
	}
	middle := vg.Point{X: (c.Min.X + c.Max.X) / 2, Y: c.Min.Y + 5}
	c.FillText(style(ink, sizeLabel, draw.XCenter), middle, shortened(d.timeScale(), c.Max.X-c.Min.X))
}

// paintGears paints the gear states behind everything.
func (d *stripDrawing) paintGears(c *draw.Canvas, x, _ func(float64) vg.Length) {
	for _, s := range d.gears {
		var p vg.Path
		for _, run := range runs(d.bins, func(b *bin) bool { return b.seconds > 0 && b.gear() == s }) {
			rectangle(&p, x(float64(run[0])), c.Min.Y, x(float64(run[1])), c.Max.Y)
		}
		fill(c, tint(s), p)
	}
}

func fill(c *draw.Canvas, colour role, p vg.Path) {
	if len(p) > 0 {
		c.SetColor(colour)
		c.Fill(p)
	}
}

// paintRows paints when each gear state was in, and what else comes and goes.
func (d *stripDrawing) paintRows(c *draw.Canvas, x, y func(float64) vg.Length) {
	for i, row := range d.rows {
		if row.holds == nil {
			continue
		}
		var p vg.Path
		for _, run := range runs(d.bins, row.holds) {
			from, to := atLeastWide(x(float64(run[0])), x(float64(run[1])), c)
			rectangle(&p, from, y(float64(i)+0.34), to, y(float64(i)-0.34))
		}
		fill(c, row.colour, p)
	}
	d.paintMarks(c, y)
}

// paintMarks paints a tick for each mark.
func (d *stripDrawing) paintMarks(c *draw.Canvas, y func(float64) vg.Length) {
	if len(d.Marks) == 0 {
		return
	}
	row := float64(len(d.rows) - 1)
	length := d.each.Seconds() * float64(len(d.bins))
	line := draw.LineStyle{Color: ink, Width: min(firm, (c.Max.X-c.Min.X)/vg.Length(2*len(d.Marks)))}
	for _, mark := range d.Marks {
		at := c.X(min(1, max(0, mark.Sub(d.start).Seconds()/length)))
		c.StrokeLine2(line, at, y(row+0.4), at, y(row-0.4))
	}
}

// atLeastWide widens what is too narrow to be seen, without leaving the canvas.
func atLeastWide(from, to vg.Length, c *draw.Canvas) (vg.Length, vg.Length) {
	if to-from < leastTick {
		from = min(from, c.Max.X-leastTick)
		to = from + leastTick
	}
	return from, to
}

// paintCurve paints the mean of the bins as a line, over an area from the least to the most. It is broken where
// nothing was read.
func (d *stripDrawing) paintCurve(c *draw.Canvas, x, y func(float64) vg.Length, read func(*bin) *spread) {
	for _, run := range runs(d.bins, func(b *bin) bool { return read(b).n > 0 }) {
		var above, below, line []vg.Point
		for i := run[0]; i < run[1]; i++ {
			s := read(&d.bins[i])
			for _, at := range []vg.Length{x(float64(i)), x(float64(i + 1))} {
				above = append(above, vg.Point{X: at, Y: y(s.high)})
				below = append(below, vg.Point{X: at, Y: y(s.low)})
			}
			line = append(line, vg.Point{X: x(float64(i) + 0.5), Y: y(s.mean())})
		}
		if d.each > time.Second {
			c.FillPolygon(muted, append(above, reversed(below)...))
		}
		if len(line) == 1 {
			line = []vg.Point{{X: x(float64(run[0])), Y: line[0].Y}, {X: x(float64(run[1])), Y: line[0].Y}}
		}
		c.StrokeLines(draw.LineStyle{Color: ink, Width: hair}, line)
	}
}

func reversed(points []vg.Point) []vg.Point {
	out := make([]vg.Point, 0, len(points))
	for i := len(points) - 1; i >= 0; i-- {
		out = append(out, points[i])
	}
	return out
}

// paintLanes paints a tick for the misses of each cylinder in each bin.
func (d *stripDrawing) paintLanes(c *draw.Canvas, x, y func(float64) vg.Length) {
	for lane := range d.Cylinders {
		base := y(float64(lane) + 0.5)
		c.StrokeLine2(draw.LineStyle{Color: grid, Width: hair}, c.Min.X, base, c.Max.X, base)
		var p vg.Path
		for i := range d.bins {
			if n := d.bins[i].misses[lane]; n > 0 {
				at := x(float64(i) + 0.5)
				p.Move(vg.Point{X: at, Y: base})
				p.Line(vg.Point{X: at, Y: base + vg.Length(tall(n))*0.9*(y(float64(lane)-0.5)-base)})
			}
		}
		if len(p) > 0 {
			c.SetLineStyle(draw.LineStyle{Color: miss, Width: max(leastTick, x(1)-x(0))})
			c.Stroke(p)
		}
	}
}

// tall is the height of a tick, as a share of its lane: by decades, and whole from a hundred misses on.
func tall(misses int) float64 { return min(1, 0.4+0.3*math.Log10(float64(misses))) }

// timeScale says what the scale of time is in, and how close the drive is drawn.
func (d *stripDrawing) timeScale() string {
	text := d.Minutes
	if d.inHours() {
		text = d.Hours
	}
	if d.each > time.Second {
		text += "; " + d.EachTick(int(d.each/time.Second))
	}
	return text
}

func (d *stripDrawing) inHours() bool { return len(d.bins)*int(d.each/time.Second) > 2*3600 }

// timeTicks are round times, as many as there is room for.
func (d *stripDrawing) timeTicks() plot.ConstantTicks {
	total := len(d.bins) * int(d.each/time.Second)
	most := max(1, min(8, int((d.width-d.left-stripRight)/36)))
	step := 3600
	for total/step > most {
		step *= 2
	}
	for _, s := range []int{1800, 900, 600, 300, 120, 60, 30, 10, 5, 1} {
		if total/s <= most {
			step = s
		}
	}
	var ticks plot.ConstantTicks
	for at := 0; at <= total; at += step {
		text := fmt.Sprintf("%d:%02d", at/60, at%60)
		if d.inHours() {
			text = fmt.Sprintf("%d:%02d", at/3600, at/60%60)
		}
		ticks = append(ticks, plot.Tick{Value: float64(at) / d.each.Seconds(), Label: text})
	}
	return ticks
}
