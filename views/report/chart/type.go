package chart

import (
	"image/color"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Sizes of letters and lines, in points.
const (
	sizeLabel vg.Length = 7.5
	sizeSmall vg.Length = 6.5

	hair vg.Length = 0.5
	firm vg.Length = 1
)

// Typeface is the family that the texts of charts are set in: one with the widths that every system has a face of.
const Typeface = "Liberation"

// restyle sets a text in the charts' face.
func restyle(s *text.Style, c color.Color, size vg.Length) {
	s.Color = c
	s.Font = font.Font{Typeface: Typeface, Variant: "Sans", Size: size}
}

// style is a text in the charts' face, placed by its middle.
func style(c color.Color, size vg.Length, x draw.XAlignment) text.Style {
	s := text.Style{XAlign: x, YAlign: draw.YCenter, Handler: plot.DefaultTextHandler}
	restyle(&s, c, size)
	return s
}
