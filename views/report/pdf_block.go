package report

import (
	"bytes"
	"strings"
)

// block makes boxes of one block.
func (p *pdfPages) block(b block) {
	switch b := b.(type) {
	case masthead:
		p.masthead(b)
	case heading:
		p.heading(b)
	case finding:
		p.finding(b)
	case paragraph:
		p.paragraph(pdfBody(), string(b), 6)
	case note:
		p.paragraph(pdfSmall(), string(b), 6)
	case caution:
		p.caution(string(b))
	case list:
		for _, item := range b {
			p.item(item)
		}
	case *table:
		p.table(b)
	case *figure:
		p.figure(b)
	case signatures:
		p.signatures(b)
	case pageBreak:
		p.add(pdfBox{before: 8, opens: true, glued: true, draw: func(float64) {}})
	}
}

func (p *pdfPages) add(b pdfBox) { p.boxes = append(p.boxes, b) }

// lines adds the lines of a text, no first or last one alone on a page.
func (p *pdfPages) lines(s pdfStyle, x, before float64, lines []string) {
	for i, text := range lines {
		p.add(pdfBox{
			before: before, height: s.line, glued: i == 0 && len(lines) > 1 || i == len(lines)-2,
			draw: func(y float64) { p.put(s, x, y, text) },
		})
		before = 0
	}
}

func (p *pdfPages) paragraph(s pdfStyle, text string, before float64) {
	p.lines(s, pdfSide, before, p.Wrap(s.Style, text, p.inner()))
}

// item is a paragraph of a list.
func (p *pdfPages) item(text string) {
	const indent = 12
	s := pdfBody()
	first := len(p.boxes)
	p.lines(s, pdfSide+indent, 4, p.Wrap(s.Style, text, p.inner()-indent))
	line := p.boxes[first].draw
	p.boxes[first].draw = func(y float64) {
		dot := s
		dot.Colour = pdfMuted
		p.put(dot, pdfSide+2, y, "\u2022")
		line(y)
	}
}

// headings are the styles by level, the title's first, with the room above.
func headings(level int) (s pdfStyle, before float64) {
	switch level {
	case 1:
		s, before = pdfText(20, true, pdfInk), 14
	case 2:
		s, before = pdfText(14, true, pdfInk), 20
	case 3:
		s, before = pdfText(11, true, pdfInk), 14
	default:
		s, before = pdfText(9.5, true, pdfInk), 10
	}
	s.line = 1.25 * s.Size
	return s, before
}

func (p *pdfPages) heading(h heading) {
	s, before := headings(h.level)
	first := len(p.boxes)
	p.lines(s, pdfSide, before, p.Wrap(s.Style, h.text, p.inner()))
	for i := first; i < len(p.boxes); i++ {
		p.boxes[i].glued = true
	}
	p.depth = min(max(h.level-1, 0), p.depth+1)
	depth, line := p.depth, p.boxes[first].draw
	p.boxes[first].draw = func(y float64) {
		p.Bookmark(bare(strings.ReplaceAll(h.text, "\n", " ")), depth, y)
		line(y)
	}
	if h.level == 1 {
		p.add(pdfBox{height: 4, glued: true, draw: func(float64) {}})
	}
}

// colours are those of a finding: of its mark and word, and of its ground.
func (t tone) colours() (strong, soft pdfColour) {
	switch t {
	case toneGood:
		return pdfGood, pdfGoodSoft
	case toneBad:
		return pdfBad, pdfBadSoft
	}
	return pdfOpen, pdfOpenSoft
}

func (p *pdfPages) finding(f finding) {
	strong, soft := f.tone.colours()
	word, said := pdfText(10, true, strong), pdfText(12, false, pdfInk)
	const edge, pad = 4, 10
	words := p.Wrap(word.Style, f.word, p.inner()-edge-2*pad)
	lines := p.Wrap(said.Style, f.text, p.inner()-edge-2*pad)
	height := 2*pad - 4 + word.line*float64(len(words)) + said.line*float64(len(lines))
	p.add(pdfBox{before: 12, height: height, draw: func(y float64) {
		p.Fill(pdfSide, y, p.inner(), height, soft)
		p.Fill(pdfSide, y, edge, height, strong)
		y = p.stack(word, pdfSide+edge+pad, y+pad-2, words)
		p.stack(said, pdfSide+edge+pad, y, lines)
	}})
	p.add(pdfBox{height: 4, draw: func(float64) {}})
}

// stack sets lines below each other and gives where they end.
func (p *pdfPages) stack(s pdfStyle, x, y float64, lines []string) float64 {
	for _, text := range lines {
		p.put(s, x, y, text)
		y += s.line
	}
	return y
}

// caution is set in a frame, so that it is not overlooked.
func (p *pdfPages) caution(text string) {
	s := pdfBody()
	sign := pdfText(11, true, pdfBad)
	const pad, left = 6, 22
	lines := p.Wrap(s.Style, text, p.inner()-left-pad)
	height := 2*pad + s.line*float64(len(lines))
	p.add(pdfBox{before: 8, height: height, draw: func(y float64) {
		for _, r := range [][4]float64{{0, 0, 1, 0}, {0, 1, 1, 1}, {0, 0, 0, 1}, {1, 0, 1, 1}} {
			p.Rule(pdfSide+r[0]*p.inner(), y+r[1]*height, pdfSide+r[2]*p.inner(), y+r[3]*height, 0.75, pdfBad)
		}
		p.put(sign, pdfSide+9, y+pad-1, "!")
		p.stack(s, pdfSide+left, y+pad, lines)
	}})
}

func (p *pdfPages) masthead(m masthead) {
	name, line := pdfText(12, true, pdfInk), pdfText(8.5, false, pdfMuted)
	width, height := m.logo.fit(150, 54)
	x := pdfSide
	if width > 0 {
		x += width + 14
	}
	var names, lines []string
	if m.name != "" {
		names = p.Wrap(name.Style, m.name, p.width-pdfSide-x)
	}
	for _, text := range m.lines {
		lines = append(lines, p.Wrap(line.Style, text, p.width-pdfSide-x)...)
	}
	texts := name.line*float64(len(names)) + line.line*float64(len(lines))
	whole := max(texts, height)
	p.add(pdfBox{height: whole + 10, draw: func(y float64) {
		if width > 0 {
			kind := strings.TrimPrefix(m.logo.Media, "image/")
			p.Picture("logo", kind, bytes.NewReader(m.logo.Data), pdfSide, y+(whole-height)/2, width, height)
		}
		p.stack(line, x, p.stack(name, x, y+(whole-texts)/2, names), lines)
		p.Rule(pdfSide, y+whole+10, p.width-pdfSide, y+whole+10, 0.5, pdfLine)
	}})
}

// fit is the size of a logo that fits a box, never larger than at 96 points an inch; nothing without a logo.
func (l *Logo) fit(width, height float64) (w, h float64) {
	if l == nil || l.Width < 1 || l.Height < 1 {
		return 0, 0
	}
	scale := min(0.75, width/float64(l.Width), height/float64(l.Height))
	return scale * float64(l.Width), scale * float64(l.Height)
}

// figure is a chart with its caption below.
func (p *pdfPages) figure(f *figure) {
	width, height := f.chart.Size()
	p.add(pdfBox{before: 12, height: float64(height), glued: true, draw: func(y float64) {
		f.chart.Draw(p.Canvas(pdfSide, y, float64(width), float64(height)))
	}})
	first := len(p.boxes)
	p.paragraph(pdfSmall(), f.caption, 3)
	for i := first; i < len(p.boxes)-1; i++ {
		p.boxes[i].glued = true
	}
	p.add(pdfBox{height: 4, draw: func(float64) {}})
}

// signatures leave room to write above each line.
func (p *pdfPages) signatures(lines signatures) {
	s := pdfSmall()
	const room, between = 40, 24
	date := p.inner() / 3
	who := p.inner() - date - between
	for i, sign := range lines {
		p.add(pdfBox{height: room + s.line, glued: i < len(lines)-1, draw: func(y float64) {
			p.Rule(pdfSide, y+room, pdfSide+who, y+room, 0.75, pdfInk)
			p.Rule(pdfSide+who+between, y+room, p.width-pdfSide, y+room, 0.75, pdfInk)
			p.put(s, pdfSide, y+room+1, p.shortened(s, sign.who, who))
			p.put(s, pdfSide+who+between, y+room+1, p.shortened(s, sign.date, date))
		}})
	}
}
