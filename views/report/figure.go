package report

import (
	"io"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"stumble/views/report/chart"
)

// figure is a chart with what it shows in words. A form that cannot show pictures prints the words alone, so alt has
// the facts that a reader takes from the picture.
type figure struct {
	chart   drawing
	narrow  drawing // the same for a narrow page; nil where one form does for all
	caption string
	alt     string
	repeats bool   // it shows what a table beside it tells, so text can do without
	data    *table // what it shows as a table, where text tells that better than alt; may be nil
}

// drawing is a chart that knows nothing of the page it is put on. Its texts are set in the page's own language.
type drawing interface {
	// Size is the room that the chart wants, at the width of an A4 page between its margins.
	Size() (width, height vg.Length)
	// Draw paints the chart over the whole canvas, in colours for white paper.
	Draw(c draw.Canvas)
	// WriteSVG writes the chart as one svg element to stand within an HTML page, fit for a light page and a dark one.
	// It has no identifiers that two charts of a page could share, and refers to nothing outside. The error is w's.
	WriteSVG(w io.Writer) error
}

// newFigure is a figure of a chart that can be drawn at any width; nil when there is nothing to draw.
func newFigure(drawn func(width vg.Length) *chart.Chart, caption, alt string) *figure {
	wide, narrow := drawn(chart.Wide), drawn(chart.Narrow)
	if wide == nil || narrow == nil {
		return nil
	}
	title, about := bare(caption), bare(alt)
	return &figure{chart: wide.Label(title, about), narrow: narrow.Label(title, about), caption: caption, alt: alt}
}

// repeating is the figure as one that repeats a table.
func (f *figure) repeating() *figure {
	if f != nil {
		f.repeats = true
	}
	return f
}

// picture adds a figure, unless there is none.
func (d *Document) picture(f *figure) {
	if f != nil {
		d.add(f)
	}
}
