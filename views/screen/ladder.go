package screen

import (
	"math"
	"strconv"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/wrap"
)

// ladder is what the summary says by cylinder and gear state, ready to draw.
type ladder struct {
	rungs    []rung
	brackets []bracket
	columns  int // of brackets
	gears    []gear.State
	cells    map[place]*misfire.Cell
	totals   map[int]*misfire.Cell
	worst    *misfire.Cell
	named    map[int]bool // cylinders of the verdict
	unread   bool         // a cylinder without a count may have one: it was not read
}

type place struct {
	cylinder int
	gear     gear.State
}

// ladderOf sorts a summary into the ladder. nil gives an empty one.
func ladderOf(s *views.State) ladder {
	l := ladder{
		gears: []gear.State{gear.ParkNeutral, gear.Drive, gear.Reverse, gear.Moving},
		cells: map[place]*misfire.Cell{}, totals: map[int]*misfire.Cell{}, named: map[int]bool{},
	}
	sum := s.Summary
	if sum == nil {
		return l
	}
	l.unread = sum.Unread > 0
	l.rungs = rungsOf(sum.Engine)
	if !s.CoilEach {
		l.brackets, l.columns = bracketsOf(l.rungs, sum.Engine.Pairs)
	}
	for i := range sum.ByGear {
		c := &sum.ByGear[i]
		l.cells[place{c.Cylinder, c.Condition.Gear}] = c
	}
	l.gears = columnsOf(sum)
	for i := range sum.Total {
		l.totals[sum.Total[i].Cylinder] = &sum.Total[i]
	}
	for _, c := range sum.Verdict.Named() {
		l.named[c] = true
	}
	l.worst = worstOf(sum, l.cells)
	return l
}

// columnsOf are the gear states that have a column: the usual ones whether seen or not, but for Drive and Reverse where
// only that a gear is in was seen; the others once they are.
func columnsOf(sum *misfire.Summary) (columns []gear.State) {
	var seen [gear.States]bool
	for i := range sum.ByGear {
		if g := sum.ByGear[i].Condition.Gear; int(g) < gear.States {
			seen[g] = true
		}
	}
	for _, g := range gear.Order() {
		usual := g != gear.Unknown && g != gear.InGear
		if usual && (g == gear.Drive || g == gear.Reverse) {
			usual = !seen[gear.InGear]
		}
		if usual || seen[g] {
			columns = append(columns, g)
		}
	}
	return columns
}

// worstOf is the cell the verdict is about: that of its first cylinder in the gear state it names, else the one
// of its cylinders with the highest lower limit. It is nil when the verdict names no cylinder.
func worstOf(sum *misfire.Summary, cells map[place]*misfire.Cell) *misfire.Cell {
	v := sum.Verdict
	if len(v.Named()) == 0 {
		return nil
	}
	if c := cells[place{v.Named()[0], v.WorseIn}]; v.WorseIn != gear.Unknown && c != nil && c.Known() {
		return c
	}
	var worst *misfire.Cell
	for _, cylinder := range v.Named() {
		for i := range sum.ByGear {
			c := &sum.ByGear[i]
			if c.Cylinder == cylinder && c.Known() && (worst == nil || c.Low > worst.Low) {
				worst = c
			}
		}
	}
	return worst
}

// banks is how many banks the rungs stand in.
func (l *ladder) banks() int {
	n := 0
	for _, r := range l.rungs {
		if r.first {
			n++
		}
	}
	return n
}

// drawLadder paints captions, headings and rungs.
func (p *painter) drawLadder(l *ladder, at plan) {
	cv := p.canvas.at(at.ladder)
	y := 0
	if at.caption {
		p.drawScale(cv, at)
		y++
	}
	p.drawHeadings(cv, y, l, at)
	y++
	if len(l.rungs) == 0 {
		cv.text(at.label, y, "cylinders not known yet", p.pal.faint)
		return
	}
	shown := l.rungs[:len(l.rungs)-at.hidden]
	lines := rungLines(shown, y, at)
	p.drawBrackets(cv, l, lines, at)
	for i, r := range shown {
		p.drawRung(cv, lines[i], r, l, at)
	}
	if at.hidden > 0 {
		cv.right(cv.area.w-1, at.headings()-1, strconv.Itoa(at.hidden)+" more: taller window", p.pal.strong)
	}
}

// rungLines is the line at which each rung begins.
func rungLines(rungs []rung, y int, at plan) []int {
	lines := make([]int, len(rungs))
	for i, r := range rungs {
		if at.gaps && r.first && i > 0 {
			y++
		}
		lines[i] = y
		y += at.rung
	}
	return lines
}

func (p *painter) drawScale(cv canvas, at plan) {
	unit := p.keys.unit.Name()
	caption := wrap.Longest(cv.area.w-1,
		unit+", 95 % limits; bars: 0.1 to 1,000 per 1,000, log scale",
		unit+", 95 % limits; bars 0.1-1,000",
		unit+", 95 % limits",
		unit)
	cv.text(0, 0, wrap.Cut(caption, cv.area.w-1, p.gl.more), p.pal.faint)
}

func (p *painter) drawHeadings(cv canvas, y int, l *ladder, at plan) {
	now := gear.Unknown
	if p.state.Summary != nil {
		now = p.state.Summary.Live.Gear.State
	}
	cv.text(0, y, wrap.Cut("cyl", at.label, p.gl.more), p.pal.faint)
	for i, g := range l.gears {
		x, style := at.label+i*at.cell+1, p.pal.plain
		if g == now && g != gear.Unknown {
			style = p.pal.alert
			cv.run(x, y, at.cell-1, ' ', style)
		}
		cv.text(x, y, wrap.Cut(p.headingOf(l, g, at.cell-1), at.cell-1, p.gl.more), style)
	}
	if at.total {
		cv.text(at.label+len(l.gears)*at.cell+1, y, "whole drive", p.pal.plain)
	}
}

// headingOf is the name of a gear state; where it was only inferred it says so.
func (p *painter) headingOf(l *ladder, g gear.State, room int) string {
	name := g.String()
	if g == gear.Unknown {
		name = "unknown"
	}
	for _, r := range l.rungs {
		c := l.cells[place{r.cylinder, g}]
		if c == nil || c.Firings == 0 || c.Origin != gear.Inferred {
			continue
		}
		return wrap.Longest(room, name+" inferred", name+" inf.", name+"?")
	}
	return name
}

func (p *painter) drawRung(cv canvas, y int, r rung, l *ladder, at plan) {
	style := p.pal.plain
	if l.named[r.cylinder] {
		style = p.pal.strong
	}
	if r.first && r.bank > 0 && l.banks() > 1 {
		cv.text(0, y, "b"+strconv.Itoa(r.bank), p.pal.faint)
	}
	cv.right(at.label-1, y, strconv.Itoa(r.cylinder), style)
	if t := l.totals[r.cylinder]; t != nil && !t.Reported {
		words := "not reported by this car"
		if l.unread {
			words = "not read"
		}
		cv.text(at.label+1, y, words, p.pal.faint)
		return
	}
	for i, g := range l.gears {
		p.drawCell(cv.at(cellRect(cv, at, i, y)), l.cells[place{r.cylinder, g}], l)
	}
	if at.total {
		p.drawCell(cv.at(cellRect(cv, at, len(l.gears), y)), l.totals[r.cylinder], l)
	}
}

// cellRect is the place of a cell, without the empty column that parts it from the next; the last line of a tall
// rung parts it from the rung below.
func cellRect(cv canvas, at plan, column, y int) rect {
	h := at.rung
	if h >= airyRung {
		h--
	}
	h = min(h, cv.area.h-y)
	return rect{cv.area.x + at.label + column*at.cell, cv.area.y + y, at.cell - 1, h}
}

// drawCell paints one rate: number, mark of worsening and limits; the bar; the counts behind it.
func (p *painter) drawCell(cv canvas, c *misfire.Cell, l *ladder) {
	switch {
	case c == nil || c.Reported && !c.Known():
		cv.text(1, 0, "-", p.pal.faint)
		return
	case !c.Reported:
		words := "not reported"
		if l.unread {
			words = "not read"
		}
		if cv.area.w < 1+len(words) {
			words = "no count"
		}
		cv.text(1, 0, words, p.pal.faint)
		return
	}
	style := p.styleOf(c, l)
	end := p.drawRate(cv, c, style, c == l.worst)
	limits := p.keys.unit.Limits(c)
	inline := limits != "" && end+3+wrap.Width(limits) <= cv.area.w
	if inline {
		cv.text(end+1, 0, "("+limits+")", p.limitStyle(c, l))
	}
	if cv.area.h == 1 {
		p.drawBeside(cv, c, style, end, inline)
		return
	}
	lines := 1
	if cv.area.h > 3 {
		lines = cv.area.h - 2
	}
	for i := range lines {
		p.drawBar(cv, 1, 1+i, cv.area.w-1, c, style)
	}
	if cv.area.h > 2 {
		if inline || limits == "" {
			limits = detailOf(c, cv.area.w-1)
		}
		cv.text(1, cv.area.h-1, wrap.Cut(limits, cv.area.w-1, p.gl.more), p.limitStyle(c, l))
	}
}

// drawRate writes marker, number and sign of worsening, and gives the place after them.
func (p *painter) drawRate(cv canvas, c *misfire.Cell, style style, worst bool) int {
	if worst {
		cv.rune(0, 0, p.gl.worst, style)
	}
	words := p.keys.unit.Rate(c)
	switch {
	case c.AtLeast:
		words = p.gl.atLeast + words
	case !c.Apart && c.Mixed > 0:
		words = p.gl.nearly + words
	}
	end := cv.text(1, 0, words, style)
	if c.Worsening {
		cv.rune(end, 0, p.gl.rising, style)
		end++
	}
	return end
}

// drawBeside puts a short bar beside the number when a rung has a single line.
func (p *painter) drawBeside(cv canvas, c *misfire.Cell, style style, end int, inline bool) {
	const number, least = 7, 4 // the bars of one column begin at one place
	x := max(end+1, number)
	if !inline && cv.area.w-x >= least {
		p.drawBar(cv, x, 0, cv.area.w-x, c, style)
	}
}

func (p *painter) drawBar(cv canvas, x, y, w int, c *misfire.Cell, style style) {
	high := c.High
	if math.IsInf(high, 1) {
		high = 1000
	}
	b := barOf(c.Low, c.Rate, high, w)
	for i := b.surely + b.likely + b.maybe; i < w; i++ {
		if decadeAt(i, w) {
			cv.rune(x+i, y, p.gl.decade, p.pal.faint)
		}
	}
	cv.run(x, y, b.surely, p.gl.surely, style)
	cv.run(x+b.surely, y, b.likely, p.gl.likely, style)
	cv.run(x+b.surely+b.likely, y, b.maybe, p.gl.maybe, style)
}

func (p *painter) styleOf(c *misfire.Cell, l *ladder) style {
	switch {
	case c == l.worst:
		return p.pal.accent
	case l.named[c.Cylinder]:
		return p.pal.strong
	}
	return p.pal.plain
}

func (p *painter) limitStyle(c *misfire.Cell, l *ladder) style {
	if c == l.worst {
		return p.pal.accent.Bold(false)
	}
	return p.pal.faint
}

// detailOf is the counts behind a rate in the longest wording that fits.
func detailOf(c *misfire.Cell, room int) string {
	wordings := []string{
		say.Grouped(c.Misses) + " of " + say.Grouped(c.Firings),
		views.Short(c.Misses) + " of " + views.Short(c.Firings),
		views.Short(c.Misses) + "/" + views.Short(c.Firings),
	}
	if c.Bursts {
		wordings = append([]string{wordings[0] + ", bursts"}, wordings...)
	}
	if c.Mixed >= 0.005 {
		wordings = append([]string{wordings[0] + ", " + say.Rounded(100*c.Mixed) + " % mixed"}, wordings...)
	}
	return wrap.Longest(room, wordings...)
}

// drawBrackets ties the rungs of cylinders that may share a coil.
func (p *painter) drawBrackets(cv canvas, l *ladder, lines []int, at plan) {
	if at.brackets == 0 {
		return
	}
	left := at.label - 3 - at.brackets
	columns := make(map[[2]int]bool) // cells that an upright crosses
	for _, b := range l.brackets {
		if b.bottom >= len(lines) {
			continue
		}
		x := left + at.brackets - 1 - b.column
		for y := lines[b.top] + 1; y < lines[b.bottom]; y++ {
			cv.rune(x, y, p.gl.down, p.pal.faint)
			columns[[2]int{x, y}] = true
		}
	}
	for _, b := range l.brackets {
		if b.bottom >= len(lines) {
			continue
		}
		x := left + at.brackets - 1 - b.column
		cv.rune(x, lines[b.top], p.gl.rightToDown, p.pal.faint)
		cv.rune(x, lines[b.bottom], p.gl.fromUp, p.pal.faint)
		for _, y := range []int{lines[b.top], lines[b.bottom]} {
			for along := x + 1; along < left+at.brackets; along++ {
				r := p.gl.across
				if columns[[2]int{along, y}] {
					r = p.gl.crossing
				}
				cv.rune(along, y, r, p.pal.faint)
			}
		}
	}
}

// cylindersOf is how many cylinders the strip has lanes for.
func cylindersOf(s *views.State) int {
	if s.Summary == nil {
		return 0
	}
	return min(s.Summary.Engine.Cylinders, engine.MaxCylinders)
}
