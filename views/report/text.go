package report

import (
	"bytes"
	"fmt"
	"io"
	"strings"
)

// least is the narrowest line that the tables can be read at.
const least = 40

// writeText lays a document out as plain text with lines of at most width cells.
func writeText(w io.Writer, d *document, width int) error {
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
	if p.out.Len() > 0 {
		p.line("")
	}
	switch b := b.(type) {
	case heading:
		p.heading(b)
	case paragraph:
		p.hanging("", string(b))
	case caution:
		p.hanging("! ", string(b))
	case list:
		for _, item := range b {
			p.hanging("- ", item)
		}
	case *table:
		p.table(b)
	}
}

func (p *textPage) line(s string) {
	s = strings.ReplaceAll(s, firmSpace, " ")
	p.out.WriteString(strings.TrimRight(s, " ") + "\n")
}

func (p *textPage) heading(h heading) {
	rule := "-"
	if h.level == 1 {
		rule = "="
	}
	longest := 0
	for _, l := range wrap(h.text, p.width) {
		p.line(l)
		longest = max(longest, width(l))
	}
	p.line(strings.Repeat(rule, longest))
}

// hanging writes a paragraph whose first line bears a sign before the margin of all.
func (p *textPage) hanging(sign, text string) {
	for _, l := range wrap(text, p.width-width(sign)) {
		p.line(sign + l)
		sign = strings.Repeat(" ", width(sign))
	}
}

// gap is the number of cells between two columns.
const gap = 2

func (p *textPage) table(t *table) {
	widths := p.columnWidths(t)
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
	for _, cells := range t.rows {
		p.row(t, widths, cells)
	}
}

// row writes the cells of one row, each wrapped within its column.
func (p *textPage) row(t *table, widths []int, cells []string) {
	height := 0
	wrapped := make([][]string, len(widths))
	for i, cell := range cells {
		wrapped[i] = wrap(cell, widths[i])
		height = max(height, len(wrapped[i]))
	}
	for y := range height {
		var line strings.Builder
		for i, lines := range wrapped {
			if i > 0 {
				line.WriteString(strings.Repeat(" ", gap))
			}
			text := ""
			if y < len(lines) {
				text = lines[y]
			}
			line.WriteString(pad(text, widths[i], t.columns[i].right))
		}
		p.line(line.String())
	}
}

// columnWidths gives each column what its longest line needs. Where that is more than the page has, the
// widest column gives way, cell by cell: first those that are not firm, down to what still reads well.
func (p *textPage) columnWidths(t *table) []int {
	widths := make([]int, len(t.columns))
	for i, c := range t.columns {
		widths[i] = min(longestLine(c.title), p.width)
		for _, row := range t.rows {
			widths[i] = max(widths[i], min(longestLine(row[i]), p.width))
		}
	}
	const readable = 16
	for excess := sum(widths) + gap*(len(widths)-1) - p.width; excess > 0; excess-- {
		i := widest(widths, func(i int) bool { return !t.columns[i].firm && widths[i] > readable })
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
