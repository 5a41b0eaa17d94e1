package sheet

import (
	"fmt"
	"image/color"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"stumble/views/report/fonts"
)

// Meta is what a file says of itself.
type Meta struct {
	Title    string
	Language string // as BCP 47 has it
	Made     time.Time
}

// Sheet is a file that is being printed. It is for one goroutine.
type Sheet struct {
	pdf   *fpdf.Fpdf
	faces *fonts.Library
	known map[*fonts.Face]bool // faces that the file has
}

// New begins a file with pages of a size, in points. It has no page yet. The error says that the program's own faces
// cannot be read.
func New(width, height float64, meta Meta) (*Sheet, error) {
	library, err := fonts.Open()
	if err != nil {
		return nil, err
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: width, Ht: height}})
	made := meta.Made
	if made.IsZero() {
		made = time.Unix(0, 0) // the library would take the time of day
	}
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(made.UTC())
	pdf.SetModificationDate(made.UTC())
	pdf.SetTitle(meta.Title, true)
	pdf.SetLang(meta.Language)
	pdf.SetProducer("stumble", true)
	pdf.SetDisplayMode("default", "default")
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetMargins(0, 0, 0)
	pdf.SetCellMargin(0)
	return &Sheet{pdf: pdf, faces: library, known: make(map[*fonts.Face]bool)}, nil
}

// AddPage begins a page.
func (s *Sheet) AddPage() { s.pdf.AddPage() }

// Bookmark names a place of the page in the file's table of contents. Levels count from 0.
func (s *Sheet) Bookmark(text string, level int, y float64) {
	s.use(s.plainFace(), 1) // for its letters
	s.pdf.Bookmark(text, level, y)
}

// Finish writes the file. The error is w's, or says what could not be printed.
func (s *Sheet) Finish(w io.Writer) error {
	if err := s.faces.Err(); err != nil {
		return err
	}
	if err := s.pdf.Output(w); err != nil {
		return fmt.Errorf("writing the PDF file: %w", err)
	}
	return nil
}

// Fill paints a rectangle.
func (s *Sheet) Fill(x, y, width, height float64, c color.Color) {
	s.pdf.SetFillColor(rgb(c))
	s.pdf.Rect(x, y, width, height, "F")
}

// Rule draws a straight line.
func (s *Sheet) Rule(x0, y0, x1, y1, thick float64, c color.Color) {
	s.pdf.SetDashPattern(nil, 0)
	s.pdf.SetLineWidth(thick)
	s.pdf.SetDrawColor(rgb(c))
	s.pdf.Line(x0, y0, x1, y1)
}

// Picture puts a picture, of the kind png or jpeg, on the page. Pictures of one name are the same, and kept once. What
// is wrong with one comes out of Finish.
func (s *Sheet) Picture(name, kind string, data io.Reader, x, y, width, height float64) {
	options := fpdf.ImageOptions{ImageType: kind}
	s.pdf.RegisterImageOptionsReader(name, options, data)
	s.pdf.ImageOptions(name, x, y, width, height, false, options, 0, "")
}

// rgb is a colour as the library takes it.
func rgb(c color.Color) (r, g, b int) {
	red, green, blue, _ := c.RGBA()
	return int(red >> 8), int(green >> 8), int(blue >> 8)
}
