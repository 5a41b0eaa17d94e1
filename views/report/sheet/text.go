package sheet

import (
	"fmt"
	"image/color"
	"strings"
	"unicode/utf16"

	"stumble/views/report/fonts"
)

// Style is how a text is set.
type Style struct {
	Size   float64 // points
	Bold   bool
	Colour color.Color
}

// Width is how wide a line is.
func (s *Sheet) Width(style Style, text string) float64 {
	return style.Size * s.faces.Width(text, style.Bold)
}

// Wrap breaks a text into lines of at most a width (fonts.Library.Wrap).
func (s *Sheet) Wrap(style Style, text string, width float64) []string {
	return s.faces.Wrap(text, style.Bold, width/style.Size+1e-9)
}

// Longest is the width of a text's longest line, and of its longest word.
func (s *Sheet) Longest(style Style, text string) (line, word float64) {
	line, word = s.faces.Longest(text, style.Bold)
	return line * style.Size, word * style.Size
}

// Text sets one line from x on; its letters stand on y.
func (s *Sheet) Text(style Style, x, y float64, text string) {
	for _, run := range s.faces.Line(text, style.Bold) {
		switch {
		case run.Face == nil:
			s.codePoint(style, x, y, run.Text)
		case run.Plain != "":
			s.plain(style, x, y, &run)
		default:
			s.shapes(style, x, y, &run)
		}
		x += style.Size * run.Width
	}
}

// boldness is how much thicker a face is made that has no bold of its own, in ems.
const boldness = 0.03

// plain writes a run as letters of its face.
func (s *Sheet) plain(style Style, x, y float64, run *fonts.Run) {
	s.use(run.Face, style.Size)
	s.pdf.SetTextColor(rgb(style.Colour))
	thicken := style.Bold && !run.Face.Bold
	if thicken {
		s.pdf.SetDrawColor(rgb(style.Colour))
		s.pdf.SetLineWidth(boldness * style.Size)
		s.pdf.SetTextRenderingMode(2)
	}
	s.pdf.Text(x, y, run.Plain)
	if thicken {
		s.pdf.SetTextRenderingMode(0)
	}
}

// use makes a face the one that is written with.
func (s *Sheet) use(f *fonts.Face, size float64) {
	if !s.known[f] {
		s.pdf.AddUTF8FontFromBytes(f.Name, "", f.TTF)
		s.known[f] = true
	}
	s.pdf.SetFont(f.Name, "", size)
}

// plainFace is the face of the pages.
func (s *Sheet) plainFace() *fonts.Face { return s.faces.Line("a", false)[0].Face }

// shapes draws a run by its outlines. Its text goes with them, for those who search, copy or hear the page.
func (s *Sheet) shapes(style Style, x, y float64, run *fonts.Run) {
	style.Bold = style.Bold && !run.Face.Bold
	for _, c := range run.Clusters {
		s.spoken(style, x+style.Size*c.X, y, style.Size*c.Width, c.Text, func() {
			for _, g := range c.Glyphs {
				s.outline(style, x, y, run.Face.Outline(g))
			}
		})
	}
}

// outline fills a shape, and thickens it where the style is bold.
func (s *Sheet) outline(style Style, x, y float64, pieces []fonts.Piece) {
	if len(pieces) == 0 {
		return
	}
	at := func(p fonts.Point) (float64, float64) { return x + p.X*style.Size, y - p.Y*style.Size }
	for i, piece := range pieces {
		switch px, py := at(piece.Points[len(piece.Points)-1]); {
		case piece.Moves:
			if i > 0 {
				s.pdf.ClosePath()
			}
			s.pdf.MoveTo(px, py)
		case len(piece.Points) == 1:
			s.pdf.LineTo(px, py)
		case len(piece.Points) == 2:
			cx, cy := at(piece.Points[0])
			s.curve(cx, cy, px, py)
		default:
			cx, cy := at(piece.Points[0])
			dx, dy := at(piece.Points[1])
			s.pdf.CurveBezierCubicTo(cx, cy, dx, dy, px, py)
		}
	}
	s.pdf.ClosePath()
	s.pdf.SetFillColor(rgb(style.Colour))
	how := "F"
	if style.Bold {
		s.pdf.SetDashPattern(nil, 0)
		s.pdf.SetDrawColor(rgb(style.Colour))
		s.pdf.SetLineWidth(boldness * style.Size)
		how = "FD"
	}
	s.pdf.DrawPath(how)
}

// curve draws a curve with one control, which the library's own has not, from where the path is.
func (s *Sheet) curve(cx, cy, x, y float64) {
	fromX, fromY := s.pdf.GetXY()
	ax, bx := cubic(fromX, cx, x)
	ay, by := cubic(fromY, cy, y)
	s.pdf.CurveBezierCubicTo(ax, ay, bx, by, x, y)
}

// cubic is the two controls of the curve that a curve with one control is, in one coordinate.
func cubic(from, control, to float64) (first, second float64) {
	return from + 2.0/3*(control-from), to + 2.0/3*(control-to)
}

// spoken marks what is drawn as standing for a text (ISO 32000-1, 14.9.4). A letter that is not shown, stretched to the
// width of what is, gives it its place on the page, without which readers do not take it.
func (s *Sheet) spoken(style Style, x, y, width float64, text string, draw func()) {
	var code strings.Builder
	for _, unit := range utf16.Encode([]rune(text)) {
		fmt.Fprintf(&code, "%04X", unit)
	}
	s.pdf.RawWriteStr("/Span <</ActualText <FEFF" + code.String() + ">>> BDC\n")
	draw()
	const carrier = "m"
	s.use(s.plainFace(), style.Size)
	s.pdf.SetTextRenderingMode(3)
	s.pdf.RawWriteStr(fmt.Sprintf("%.2f Tz\n", max(1, 100*width/(style.Size*s.faces.Width(carrier, false)))))
	s.pdf.Text(x, y, carrier)
	s.pdf.RawWriteStr("100 Tz\n")
	s.pdf.SetTextRenderingMode(0)
	s.pdf.RawWriteStr("EMC\n")
}

// codePoint draws the code point of a letter that no face has, in a box of one em.
func (s *Sheet) codePoint(style Style, x, y float64, letter string) {
	digits := fmt.Sprintf("%04X", []rune(letter)[0])
	half := (len(digits) + 1) / 2
	em := style.Size
	s.spoken(style, x, y, em, letter, func() {
		s.pdf.SetDashPattern(nil, 0)
		s.pdf.SetLineWidth(0.05 * em)
		s.pdf.SetDrawColor(rgb(style.Colour))
		s.pdf.Rect(x+0.07*em, y-0.75*em, 0.86*em, 0.9*em, "D")
		small := Style{Size: 0.42 * em, Colour: style.Colour}
		if half > 2 {
			small.Size = 0.36 * em
		}
		for i, line := range []string{digits[:half], digits[half:]} {
			s.Text(small, x+(em-s.Width(small, line))/2, y-0.36*em+float64(i)*0.4*em, line)
		}
	})
}
