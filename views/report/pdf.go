package report

import (
	"fmt"
	"image/color"
	"io"
	"strconv"
	"strings"

	"stumble/views/report/sheet"
)

// WritePDF lays the document out as pages to print, with page numbers, a table of contents and all faces within it. The
// same document gives the same bytes. An error is what w reported.
func (d *Document) WritePDF(w io.Writer) error {
	width, height := d.paper.Millimetres()
	p := pdfPages{width: width * perMillimetre, height: height * perMillimetre}
	p.running = strings.Join(append([]string{d.title}, d.running...), " \u00b7 ")
	var err error
	p.Sheet, err = sheet.New(p.width, p.height, sheet.Meta{Title: d.title, Language: d.Language(), Made: d.made})
	if err != nil {
		return fmt.Errorf("setting the report: %w", err)
	}
	for _, b := range d.blocks {
		p.block(b)
	}
	p.print()
	return p.Finish(w)
}

const perMillimetre = 72 / 25.4

// pdfPages is a document on its way to paper. Its blocks become boxes, the boxes are put on pages, and the pages are
// printed when their number is known.
type pdfPages struct {
	*sheet.Sheet
	width, height float64
	running       string // at the head of all pages but the first
	boxes         []pdfBox
	depth         int // of the last heading in the table of contents
}

// The margins, in points. Between those at the sides there is room for a chart on the narrower of the papers.
const (
	pdfSide   = 20 * perMillimetre
	pdfTop    = 20 * perMillimetre
	pdfBottom = 20 * perMillimetre
)

func (p *pdfPages) inner() float64 { return p.width - 2*pdfSide }

// The colours are those of the page for a browser.
const (
	pdfInk      pdfColour = 0x16191d
	pdfMuted    pdfColour = 0x5a6169
	pdfLine     pdfColour = 0xd3d7db
	pdfGood     pdfColour = 0x1c6b3a
	pdfGoodSoft pdfColour = 0xedf6f0
	pdfBad      pdfColour = 0xa8101f
	pdfBadSoft  pdfColour = 0xfcf0f0
	pdfOpen     pdfColour = 0x8a5a00
	pdfOpenSoft pdfColour = 0xfbf5e8
)

// pdfColour is a colour as six hexadecimal digits.
type pdfColour uint32

// RGBA makes it one (color.Color).
func (c pdfColour) RGBA() (r, g, b, a uint32) {
	return color.NRGBA{R: uint8(c >> 16), G: uint8(c >> 8), B: uint8(c), A: 0xff}.RGBA()
}

// pdfStyle is how the lines of a text are set.
type pdfStyle struct {
	sheet.Style
	line float64 // from one line to the next
}

func pdfText(size float64, bold bool, c pdfColour) pdfStyle {
	return pdfStyle{sheet.Style{Size: size, Bold: bold, Colour: c}, size * 1.4}
}

// rise is how far above the foot of its line a text stands.
func (s pdfStyle) rise() float64 { return (s.line-s.Size)/2 + 0.22*s.Size }

// The styles.
func pdfBody() pdfStyle  { return pdfText(9.5, false, pdfInk) }
func pdfSmall() pdfStyle { return pdfText(8, false, pdfMuted) }

// put sets one line within a line's height that begins at y.
func (p *pdfPages) put(s pdfStyle, x, y float64, text string) {
	p.Text(s.Style, x, y+s.line-s.rise(), text)
}

// print puts the boxes on pages and the pages on paper.
func (p *pdfPages) print() {
	pages := pdfFlow{top: pdfTop, bottom: p.height - pdfBottom}.pages(p.boxes)
	for i, page := range pages {
		p.AddPage()
		for _, placed := range page {
			placed.box.draw(placed.y)
		}
		p.edges(i+1, len(pages))
	}
}

// edges prints what stands outside the margins.
func (p *pdfPages) edges(page, of int) {
	style := pdfSmall()
	if page > 1 {
		y := pdfTop - 24
		p.put(style, pdfSide, y, p.shortened(style, p.running, p.inner()))
		p.Rule(pdfSide, y+style.line+1, p.width-pdfSide, y+style.line+1, 0.5, pdfLine)
	}
	number := strconv.Itoa(page) + " / " + strconv.Itoa(of)
	p.put(style, p.width-pdfSide-p.Width(style.Style, number), p.height-pdfBottom+14, number)
}

// shortened is a line that ends where there is no more room.
func (p *pdfPages) shortened(s pdfStyle, text string, room float64) string {
	if p.Width(s.Style, text) <= room {
		return text
	}
	const more = "\u2026"
	return p.Wrap(s.Style, text, room-p.Width(s.Style, more))[0] + more
}
