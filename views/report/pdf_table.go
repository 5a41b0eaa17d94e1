package report

import "strings"

// pdfTable is a table on its way to paper.
type pdfTable struct {
	*table
	pages  *pdfPages
	size   float64 // of its letters
	widths []float64
}

const (
	pdfGutter = 10.0 // between two columns
	pdfCell   = 2.5  // above and below a cell's text
)

// table makes boxes of a table: the caption, the titles, and each row.
func (p *pdfPages) table(t *table) {
	pt := &pdfTable{table: t, pages: p, size: 8.5}
	pt.fit()
	before := 8.0
	if t.caption != "" {
		first := len(p.boxes)
		p.paragraph(pdfSmall(), t.caption, before)
		for i := first; i < len(p.boxes); i++ {
			p.boxes[i].glued = true
		}
		before = 2
	}
	var head *pdfBox
	if t.titled() {
		box := pt.head()
		box.before = before
		head = &box
		p.add(box)
		before = 0
	}
	last := len(t.rows) - 1
	for i := range t.rows {
		first := len(p.boxes)
		pt.row(&t.rows[i], i)
		p.boxes[first].before += before
		before = 0
		for k := first; k < len(p.boxes); k++ {
			p.boxes[k].head = head // but right below it, where it is never at the top
		}
		// No row stands alone before or after the end of a page, and none apart from the line that names it.
		end := &p.boxes[len(p.boxes)-1]
		end.glued = i < last && (end.glued || i == 0 || i == last-1 || t.rows[i].kind == rowBand || t.rows[i+1].kind == rowTotal)
	}
	p.add(pdfBox{height: 6, draw: func(float64) {}})
}

// title, text, first and rest are the styles of cells.
func (t *pdfTable) title() pdfStyle { return pdfText(t.size-0.5, true, pdfMuted) }
func (t *pdfTable) text() pdfStyle  { return pdfText(t.size, false, pdfInk) }
func (t *pdfTable) rest() pdfStyle  { return pdfText(t.size-1, false, pdfMuted) }

// first is the style of a cell's first line.
func (t *pdfTable) first(c column, kind rowKind) pdfStyle {
	s := t.text()
	switch {
	case kind == rowLoud && c.head:
		s.Bold, s.Colour = true, pdfBad
	case c.head && !t.titled():
		s.Colour = pdfMuted
	case c.lead, c.head && kind == rowTotal:
		s.Bold = true
	}
	return s
}

// fit gives the columns their widths. A table too wide at its letters' size gets smaller ones, within reason.
func (t *pdfTable) fit() {
	room := t.pages.inner() - pdfGutter*float64(len(t.columns)-1)
	for {
		wanted, least := t.needs(room)
		if total(least) <= room || t.size <= 6.5 {
			t.widths = shared(room, wanted, least, t.columns)
			return
		}
		t.size -= 0.5
	}
}

// needs is how wide each column would like to be, and must be for no word to be cut; of a word that would crowd the
// other columns out, a part must do.
func (t *pdfTable) needs(room float64) (wanted, least []float64) {
	wanted, least = make([]float64, len(t.columns)), make([]float64, len(t.columns))
	take := func(i int, s pdfStyle, text string) {
		line, word := t.pages.Longest(s.Style, text)
		wanted[i], least[i] = max(wanted[i], line), max(least[i], min(word, 0.35*room))
	}
	for i, c := range t.columns {
		take(i, t.title(), c.title)
		for k := range t.rows {
			if r := &t.rows[k]; r.kind != rowBand {
				first, rest, _ := strings.Cut(r.cells[i], "\n")
				take(i, t.first(c, r.kind), first)
				take(i, t.under(c), rest)
			}
		}
	}
	return wanted, least
}

// under is the style of a cell's lines but the first.
func (t *pdfTable) under(c column) pdfStyle {
	if c.lead {
		return t.rest()
	}
	return t.text()
}

// shared shares the room out. Columns that want more than there is give way, those that are not firm first, as far as
// their longest word; where even that is too much, all words are cut alike.
func shared(room float64, wanted, least []float64, columns []column) []float64 {
	widths := append([]float64(nil), wanted...)
	if spare := room - total(wanted); spare >= 0 {
		const most = 18
		for i := range widths {
			widths[i] += min(most, spare/float64(len(widths)))
		}
		return widths
	}
	give := func(may func(int) bool) {
		excess, can := total(widths)-room, 0.0
		for i := range widths {
			if may(i) {
				can += widths[i] - least[i]
			}
		}
		if excess <= 0 || can <= 0 {
			return
		}
		for i := range widths {
			if may(i) {
				widths[i] -= (widths[i] - least[i]) * min(1, excess/can)
			}
		}
	}
	give(func(i int) bool { return !columns[i].firm })
	give(func(int) bool { return true })
	if over := total(widths); over > room {
		for i := range widths {
			widths[i] *= room / over
		}
	}
	return widths
}

func total(values []float64) (sum float64) {
	for _, v := range values {
		sum += v
	}
	return sum
}

// reach is where some columns begin, from the margin on, and how wide they are together.
func (t *pdfTable) reach(from, over int) (x, width float64) {
	x = total(t.widths[:from]) + pdfGutter*float64(from)
	return x, total(t.widths[from:from+over]) + pdfGutter*float64(over-1)
}

// whole is how wide the table is.
func (t *pdfTable) whole() float64 {
	_, width := t.reach(0, len(t.columns))
	return width
}

// head is the titles, drawn again on each page that the table goes on to.
func (t *pdfTable) head() pdfBox {
	p, s := t.pages, t.title()
	groups, at := 0.0, 0
	var draws []func(y float64)
	for _, g := range t.groups {
		x, width := t.reach(at, g.over)
		at += g.over
		if g.title == "" {
			continue
		}
		lines := p.Wrap(s.Style, g.title, width)
		groups = max(groups, s.line*float64(len(lines))+4)
		draws = append(draws, func(y float64) {
			end := p.stack(s, pdfSide+x, y, lines)
			p.Rule(pdfSide+x, end+2, pdfSide+x+width, end+2, 0.5, pdfLine)
		})
	}
	titles := make([][]string, len(t.columns))
	height := 0.0
	for i, c := range t.columns {
		titles[i] = p.Wrap(s.Style, c.title, t.widths[i])
		height = max(height, s.line*float64(len(titles[i])))
	}
	whole := groups + height + 2*pdfCell
	return pdfBox{height: whole, glued: true, draw: func(y float64) {
		for _, draw := range draws {
			draw(y)
		}
		for i := range titles {
			up := height - s.line*float64(len(titles[i])) // titles stand on one line
			t.cell(i, s, y+groups+pdfCell+up, titles[i])
		}
		p.Rule(pdfSide, y+whole, pdfSide+t.whole(), y+whole, 0.75, pdfInk)
	}}
}

// cell sets lines in a column, and gives where they end.
func (t *pdfTable) cell(column int, s pdfStyle, y float64, lines []string) float64 {
	x, width := t.reach(column, 1)
	for _, text := range lines {
		at := pdfSide + x
		if t.columns[column].right {
			at += width - t.pages.Width(s.Style, text)
		}
		t.pages.put(s, at, y, text)
		y += s.line
	}
	return y
}

// pdfPart is a paragraph of a cell, or some lines of one.
type pdfPart struct {
	style pdfStyle
	lines []string
	gap   float64 // above it
}

func (p *pdfPart) height() float64 { return p.gap + p.style.line*float64(len(p.lines)) }

// row makes boxes of one row: one, unless it is so tall that no page should be without a part of it.
func (t *pdfTable) row(r *row, number int) {
	if r.kind == rowBand {
		t.band(r.cells[0], number)
		return
	}
	cells := make([][]pdfPart, len(t.columns))
	height := 0.0
	for i, c := range t.columns {
		cells[i] = t.parts(i, c, r)
		height = max(height, partsHeight(cells[i]))
	}
	limit := (t.pages.height - pdfTop - pdfBottom) / 3
	for {
		now := min(height, limit)
		taken := make([][]pdfPart, len(cells))
		left := 0.0
		for i := range cells {
			taken[i], cells[i] = split(cells[i], now)
			left = max(left, partsHeight(cells[i]))
		}
		t.addRow(r, taken, left == 0)
		if left == 0 {
			return
		}
		height = left
	}
}

// parts are the paragraphs of a cell. They stand off from each other, but for those that explain the first.
func (t *pdfTable) parts(i int, c column, r *row) (parts []pdfPart) {
	s, gap := t.first(c, r.kind), 0.0
	for text := range strings.SplitSeq(r.cells[i], "\n") {
		parts = append(parts, pdfPart{s, t.pages.Wrap(s.Style, text, t.widths[i]), gap})
		if s = t.under(c); !c.lead {
			gap = 2.5
		}
	}
	return parts
}

func partsHeight(parts []pdfPart) (height float64) {
	for i := range parts {
		height += parts[i].height()
	}
	return height
}

// split takes as many lines off a cell as a height holds, and one at least.
func split(parts []pdfPart, height float64) (taken, left []pdfPart) {
	for i, part := range parts {
		if i == 0 {
			part.gap = 0
		}
		fits := int(max(0, height-part.gap)/part.style.line + 1e-6)
		if len(taken) == 0 {
			fits = max(fits, 1)
		}
		if fits < len(part.lines) {
			if fits > 0 {
				taken = append(taken, pdfPart{part.style, part.lines[:fits], part.gap})
			}
			return taken, append([]pdfPart{{style: part.style, lines: part.lines[fits:]}}, parts[i+1:]...)
		}
		taken = append(taken, part)
		height -= part.height()
	}
	return taken, nil
}

// addRow adds the box of a row, or of a part of it; ends tells that the row ends with it.
func (t *pdfTable) addRow(r *row, cells [][]pdfPart, ends bool) {
	p := t.pages
	height := 0.0
	for _, parts := range cells {
		height = max(height, partsHeight(parts))
	}
	height += 2 * pdfCell
	if !t.titled() {
		height -= pdfCell
	}
	kind := r.kind
	p.add(pdfBox{height: height, draw: func(y float64) {
		if kind == rowLoud {
			p.Fill(pdfSide-4, y+0.25, t.whole()+8, height-0.5, pdfBadSoft)
			p.Fill(pdfSide-4, y+0.25, 2, height-0.5, pdfBad)
		}
		if kind == rowTotal {
			p.Rule(pdfSide, y, pdfSide+t.whole(), y, 0.75, pdfInk)
		}
		for i, parts := range cells {
			at := y + pdfCell
			for _, part := range parts {
				at = t.cell(i, part.style, at+part.gap, part.lines)
			}
		}
		if ends && t.titled() {
			p.Rule(pdfSide, y+height, pdfSide+t.whole(), y+height, 0.5, pdfLine)
		}
	}})
}

// band is a line over all columns.
func (t *pdfTable) band(text string, number int) {
	p, s := t.pages, t.text()
	s.Bold = true
	lines := p.Wrap(s.Style, text, max(t.whole(), p.inner()/2))
	height := 2*pdfCell + s.line*float64(len(lines))
	before := 8.0
	if number == 0 {
		before = 2
	}
	p.add(pdfBox{before: before, height: height, draw: func(y float64) {
		p.stack(s, pdfSide, y+pdfCell, lines)
		p.Rule(pdfSide, y+height, pdfSide+t.whole(), y+height, 0.5, pdfInk)
	}})
}
