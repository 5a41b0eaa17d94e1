package report

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"stumble/views/wrap"
)

// least is the narrowest line that the tables can be read at.
const least = 40

// WriteText lays the document out as plain text with lines of at most width cells: the page of a printer that knows
// nothing but letters. An error says that width is too small, or what w reported.
func (d *Document) WriteText(w io.Writer, width int) error {
	if width < least {
		return fmt.Errorf("a report %d columns wide cannot be read: give it %d or more", width, least)
	}
	p := textPage{width: width}
	for _, b := range d.blocks {
		p.block(b)
	}
	if _, err := w.Write(p.out.Bytes()); err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	return nil
}

type textPage struct {
	out   bytes.Buffer
	width int
}

// block writes one block, with an empty line before all but the first.
func (p *textPage) block(b block) {
	switch b := b.(type) {
	case pageBreak:
		return // paper without end has no pages
	case *figure:
		if b.repeats {
			return
		}
	}
	if p.out.Len() > 0 {
		p.line("")
	}
	switch b := b.(type) {
	case masthead:
		for _, text := range append([]string{b.name}, b.lines...) {
			p.hanging("", text)
		}
	case heading:
		p.heading(b)
	case finding:
		p.hanging("", b.word)
		p.hanging("", b.text)
	case paragraph:
		p.hanging("", string(b))
	case note:
		p.hanging("", string(b))
	case caution:
		p.hanging("! ", string(b))
	case list:
		for _, item := range b {
			p.hanging("- ", item)
		}
	case *table:
		p.table(b)
	case *figure:
		p.figure(b)
	case signatures:
		p.signatures(b)
	}
}

func (p *textPage) line(s string) {
	s = strings.ReplaceAll(bare(s), wrap.FirmSpace, " ")
	p.out.WriteString(strings.TrimRight(s, " ") + "\n")
}

func (p *textPage) heading(h heading) {
	rules := [...]string{"=", "-", "~", "."}
	rule := rules[min(h.level, len(rules))-1]
	longest := 0
	for _, l := range wrapped(h.text, p.width) {
		p.line(l)
		longest = max(longest, width(l))
	}
	p.line(strings.Repeat(rule, longest))
}

// hanging writes a paragraph whose first line bears a sign before the margin of all.
func (p *textPage) hanging(sign, text string) {
	for _, l := range wrapped(text, p.width-width(sign)) {
		p.line(sign + l)
		sign = strings.Repeat(" ", width(sign))
	}
}

// gap is the number of cells between two columns.
const gap = 2

func (p *textPage) table(t *table) {
	if t.caption != "" {
		p.hanging("", t.caption)
		p.line("")
	}
	widths := p.columnWidths(t)
	if len(t.groups) > 0 {
		p.groups(t, widths)
	}
	if t.titled() {
		titles := make([]string, len(t.columns))
		for i, c := range t.columns {
			titles[i] = c.title
		}
		p.row(t, widths, titles)
		rules := make([]string, len(widths))
		for i, w := range widths {
			rules[i] = strings.Repeat("-", w)
		}
		p.row(t, widths, rules)
	}
	for i := range t.rows {
		p.tableRow(t, widths, i)
	}
}

// groups writes the titles that stand over several columns, each underlined as far as it reaches.
func (p *textPage) groups(t *table, widths []int) {
	wide := &table{}
	var reach []int
	titles, rules := []string{}, []string{}
	at := 0
	for _, g := range t.groups {
		w := sum(widths[at:at+g.over]) + gap*(g.over-1)
		at += g.over
		wide.columns = append(wide.columns, column{})
		reach = append(reach, w)
		titles = append(titles, g.title)
		rule := ""
		if g.title != "" {
			rule = strings.Repeat("-", w)
		}
		rules = append(rules, rule)
	}
	p.row(wide, reach, titles)
	p.row(wide, reach, rules)
}

// tableRow writes one row; a band and a total stand off from the row above.
func (p *textPage) tableRow(t *table, widths []int, i int) {
	r := &t.rows[i]
	if r.kind == rowBand {
		if i > 0 {
			p.line("")
		}
		p.hanging("", r.cells[0])
		return
	}
	if r.kind == rowTotal && i > 0 {
		rules := make([]string, len(widths))
		for k, w := range widths {
			rules[k] = strings.Repeat("-", w)
		}
		p.row(t, widths, rules)
	}
	p.row(t, widths, r.cells)
}

// figure writes in words what a picture would show.
func (p *textPage) figure(f *figure) {
	p.hanging("", f.caption)
	if f.data != nil {
		p.line("")
		p.table(f.data)
		return
	}
	p.hanging("  ", f.alt)
}

// signatures leaves room to write above each line.
func (p *textPage) signatures(lines signatures) {
	for i, s := range lines {
		if i > 0 {
			p.line("")
		}
		p.line("")
		date := min(p.width/3, 24)
		who := p.width - date - 2*gap
		p.line(strings.Repeat("_", who) + strings.Repeat(" ", 2*gap) + strings.Repeat("_", date))
		p.row(&table{columns: []column{{}, {}}}, []int{who + gap, date}, []string{s.who, s.date})
	}
}

// row writes the cells of one row, each wrapped within its column.
func (p *textPage) row(t *table, widths []int, cells []string) {
	height := 0
	lines := make([][]string, len(widths))
	for i, cell := range cells {
		lines[i] = wrapped(cell, widths[i])
		height = max(height, len(lines[i]))
	}
	for y := range height {
		var line strings.Builder
		for i, cell := range lines {
			if i > 0 {
				line.WriteString(strings.Repeat(" ", gap))
			}
			text := ""
			if y < len(cell) {
				text = cell[y]
			}
			line.WriteString(pad(text, widths[i], t.columns[i].right))
		}
		p.line(line.String())
	}
}

// columnWidths gives each column what its longest line needs. Where that is more than the page has, the
// widest column gives way, cell by cell: first those that are not firm, down to what still reads well, then any down to
// its longest word, and words are cut only where all that is not enough.
func (p *textPage) columnWidths(t *table) []int {
	widths := make([]int, len(t.columns))
	words := make([]int, len(t.columns))
	for i, c := range t.columns {
		widths[i] = min(longestLine(c.title), p.width)
		for _, r := range t.rows {
			if r.kind != rowBand {
				widths[i] = max(widths[i], min(longestLine(r.cells[i]), p.width))
				words[i] = max(words[i], int(wrap.LongestWord(r.cells[i], cells)))
			}
		}
		words[i] = max(words[i], int(wrap.LongestWord(c.title, cells)))
	}
	const readable = 16
	for excess := sum(widths) + gap*(len(widths)-1) - p.width; excess > 0; excess-- {
		i := widest(widths, func(i int) bool { return !t.columns[i].firm && widths[i] > max(readable, words[i]) })
		if i < 0 {
			i = widest(widths, func(i int) bool { return !t.columns[i].firm && widths[i] > words[i] })
		}
		if i < 0 {
			i = widest(widths, func(i int) bool { return widths[i] > words[i] })
		}
		if i < 0 {
			i = widest(widths, func(int) bool { return true })
		}
		widths[i]--
	}
	return widths
}

func longestLine(s string) int {
	longest := 0
	for part := range strings.SplitSeq(s, "\n") {
		longest = max(longest, width(part))
	}
	return longest
}

func sum(values []int) int {
	total := 0
	for _, v := range values {
		total += v
	}
	return total
}

// widest finds the widest column of those that may be taken; -1 when there is none.
func widest(widths []int, may func(int) bool) int {
	found := -1
	for i, w := range widths {
		if may(i) && (found < 0 || w > widths[found]) {
			found = i
		}
	}
	return found
}
