package screen

import (
	"math"
	"strconv"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/wrap"
)

// stripRow is one line of the strip: a second of the drive, or a hole in it.
type stripRow struct {
	*misfire.Moment               // nil for a hole
	hole            time.Duration // how long nothing was read
}

// stripRows are the last n lines of a strip, oldest first, with a line for each stretch in which nothing was read.
// back is by how many lines the newest are passed over.
func stripRows(strip []misfire.Moment, n, back int) []stripRow {
	const together = 1500 * time.Millisecond
	rows := make([]stripRow, 0, n+back)
	for i := len(strip) - 1; i >= 0 && len(rows) < n+back; i-- {
		if i < len(strip)-1 {
			if apart := strip[i+1].At.Sub(strip[i].At); apart > together {
				rows = append(rows, stripRow{hole: apart - time.Second})
			}
		}
		rows = append(rows, stripRow{Moment: &strip[i]})
	}
	rows = rows[min(back, max(len(rows)-n, 0)):]
	rows = rows[:min(len(rows), n)]
	for i, j := 0, len(rows)-1; i < j; i, j = i+1, j-1 {
		rows[i], rows[j] = rows[j], rows[i]
	}
	return rows
}

// rpmScale is the right end of the engine speed trace: the least of a few round figures that holds every moment.
func rpmScale(rows []stripRow) float64 {
	top := 0.0
	for _, r := range rows {
		if r.Moment != nil && r.RPM > top {
			top = r.RPM
		}
	}
	for _, scale := range []float64{1500, 3000, 6000} {
		if top <= scale {
			return scale
		}
	}
	return 12000
}

// traceAt is the column, of w, that a value has on a scale from 0 to top; -1 when it is not known.
func traceAt(v, top float64, w int) int {
	if math.IsNaN(v) || w <= 0 {
		return -1
	}
	return int(min(max(v/top*float64(w), 0), float64(w-1)))
}

// drawStrip paints the strip: time runs down the page, the newest second is the lowest line.
func (p *painter) drawStrip(at plan) {
	cv := p.canvas.at(at.strip)
	cylinders := cylindersOf(p.state)
	l, ok := arrangeStrip(cv.area.w, cylinders)
	if !ok {
		return
	}
	y := 0
	if at.caption {
		p.drawStripCaption(cv)
		y++
	}
	strip := p.state.Strip
	if p.keys.held != nil {
		strip = p.keys.held
	}
	rows := stripRows(strip, cv.area.h-y-1, p.keys.back)
	top := rpmScale(rows)
	p.drawStripHeadings(cv, y, l, top)
	from := cv.area.h - len(rows)
	for i, r := range rows {
		p.drawStripRow(cv, from+i, l, r, i == 0 || rows[i-1].Moment == nil || rows[i-1].Gear != r.gear(), i == len(rows)-1)
	}
	p.drawTrace(cv, from, rows, l.rpm, l.rpmW, p.gl.down, func(m *misfire.Moment) int { return traceAt(m.RPM, top, l.rpmW) })
	load, loadW := l.load, l.loadW
	if l.together {
		load, loadW = l.rpm, l.rpmW
	}
	p.drawTrace(cv, from, rows, load, loadW, p.gl.loadAt, func(m *misfire.Moment) int { return traceAt(m.Load, 100, loadW) })
}

func (r stripRow) gear() gear.State {
	if r.Moment == nil {
		return gear.Unknown
	}
	return r.Gear
}

func (p *painter) drawStripCaption(cv canvas) {
	switch {
	case p.keys.held == nil:
		words := wrap.Longest(cv.area.w, "misses as they were counted, a line a second", "misses, a line a second", "misses a second")
		cv.text(0, 0, words, p.pal.faint)
	default:
		words := wrap.Longest(cv.area.w, " HELD: space lets it go, arrows look back ", " HELD: space, arrows ", " HELD ")
		cv.text(0, 0, words, p.pal.alert)
	}
}

func (p *painter) drawStripHeadings(cv canvas, y int, l lanes, top float64) {
	if l.time >= 0 {
		cv.text(l.time, y, "time", p.pal.faint)
	}
	named := map[int]bool{}
	for _, c := range p.state.Summary.Verdict.Named() {
		named[c] = true
	}
	for c := 1; c <= l.cylinders; c++ {
		style := p.pal.plain
		if named[c] {
			style = p.pal.strong
		}
		name := strconv.Itoa(c)
		if l.lane == 1 {
			name = name[len(name)-1:]
		}
		cv.right(l.first+c*l.lane, y, name, style)
	}
	if l.together {
		pen, dots := string(p.gl.down), string(p.gl.loadAt)
		words := wrap.Longest(l.rpmW, "rpm"+pen+" load"+dots, "rpm"+pen+" ld"+dots, pen+dots)
		cv.text(l.rpm, y, wrap.Cut(words, l.rpmW, p.gl.more), p.pal.faint)
	} else {
		p.drawAxis(cv, l.rpm, y, l.rpmW, "rpm", say.Rounded(top))
		p.drawAxis(cv, l.load, y, l.loadW, "load", "100")
	}
	if l.notesW > 0 {
		cv.text(l.notes+1, y, "marks", p.pal.faint)
	}
}

// drawAxis names a trace and the value at its right end; the left end is nought.
func (p *painter) drawAxis(cv canvas, x, y, w int, name, end string) {
	if w > 0 {
		cv.text(x, y, name, p.pal.faint)
		cv.right(x+w, y, end, p.pal.faint)
	}
}

// drawStripRow paints one second: ground and letter of the gear state, and in each lane what its counter rose by.
func (p *painter) drawStripRow(cv canvas, y int, l lanes, r stripRow, turned, newest bool) {
	if r.Moment == nil {
		cv.text(0, y, wrap.Cut("-- "+views.Seconds(r.hole)+" s not read --", cv.area.w, p.gl.more), p.pal.faint)
		return
	}
	ground := p.pal.groundOf(r.Gear)
	cv.run(l.gear, y, cv.area.w-l.gear-max(l.notesW, 0), ' ', ground)
	p.drawTime(cv, y, l, r.At, newest)
	cv.rune(l.gear, y, letterOf(r.Gear), ground.Bold(turned))
	empty := p.gl.patternOf(r.Gear)
	if r.Unmonitored {
		empty = p.gl.unjudged
	}
	for c := range l.cylinders {
		x := l.first + c*l.lane
		if n := r.Misses[c]; n > 0 {
			p.drawTick(cv, x, y, l.lane, int(n), ground)
			continue
		}
		cv.rune(x+l.lane-1, y, empty, ground.Dim(true))
	}
	p.drawMarks(cv, y, l, r.At, ground)
}

// drawTick is a reversed block with the number that the counter rose by; one that is too long is shown as "+".
func (p *painter) drawTick(cv canvas, x, y, w, n int, ground style) {
	style := ground.Reverse(true).Bold(true)
	words := strconv.Itoa(n)
	if len(words) > w {
		words = "+"
	}
	start := 0
	if w > 1 {
		start = min(1, w-len(words)) // an empty column parts the lanes when there is room
	}
	cv.run(x+start, y, w-start, ' ', style)
	cv.right(x+w, y, words, style)
}

func (p *painter) drawTime(cv canvas, y int, l lanes, at time.Time, newest bool) {
	if l.time < 0 {
		return
	}
	since := at.Sub(p.state.Began())
	switch {
	case newest:
		cv.text(l.time, y, views.Minutes(since), p.pal.strong)
	case int(since.Round(time.Second)/time.Second)%10 == 0:
		cv.text(l.time, y, views.Minutes(since), p.pal.faint)
	}
}

// drawMarks puts the marks of a second at the edge of the strip, in words where there is room.
func (p *painter) drawMarks(cv canvas, y int, l lanes, at time.Time, ground style) {
	if l.mark < 0 {
		return
	}
	for _, m := range p.state.Notes {
		if m.At.Before(at) || !m.At.Before(at.Add(time.Second)) {
			continue
		}
		cv.rune(l.mark, y, p.gl.mark, ground.Bold(true))
		cv.text(l.notes+1, y, wrap.Cut(m.Text, l.notesW-1, p.gl.more), p.pal.strong)
	}
}

// drawTrace draws a value from line to line, with an elbow wherever it moves.
func (p *painter) drawTrace(cv canvas, y int, rows []stripRow, x, w int, pen rune, at func(*misfire.Moment) int) {
	if w <= 0 {
		return
	}
	last := -1
	for i, r := range rows {
		now := -1
		if r.Moment != nil {
			now = at(r.Moment)
		}
		if now >= 0 {
			p.drawElbow(cv, x, y+i, last, now, pen, p.pal.groundOf(r.Gear))
		}
		last = now
	}
}

func (p *painter) drawElbow(cv canvas, x, y, last, now int, pen rune, style style) {
	switch {
	case last < 0 || last == now:
		cv.rune(x+now, y, pen, style)
	case last < now:
		cv.rune(x+last, y, p.gl.fromUp, style)
		cv.run(x+last+1, y, now-last-1, p.gl.across, style)
		cv.rune(x+now, y, p.gl.toDown, style)
	default:
		cv.rune(x+last, y, p.gl.fromUpLeft, style)
		cv.run(x+now+1, y, last-now-1, p.gl.across, style)
		cv.rune(x+now, y, p.gl.rightToDown, style)
	}
}
