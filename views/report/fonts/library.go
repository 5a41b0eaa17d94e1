package fonts

import (
	"errors"

	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/language"
	"github.com/go-text/typesetting/shaping"
)

// Library is the faces that were asked for. It is for one goroutine.
type Library struct {
	faces  []*Face // as sources; nil until asked for
	failed error
	shaper shaping.HarfbuzzShaper
}

// Open makes a library with no face read yet. The error says that the program's own faces cannot be read.
func Open() (*Library, error) {
	l := &Library{faces: make([]*Face, len(sources))}
	l.face(liberation)
	l.face(liberationBold)
	return l, l.failed
}

// Err is what went wrong with a face that was asked for since; its letters were told by their code points.
func (l *Library) Err() error { return l.failed }

// face is a face by its place; nil when it cannot be read.
func (l *Library) face(at int) *Face {
	if l.faces[at] == nil {
		face, err := sources[at].open()
		if err != nil {
			l.failed = errors.Join(l.failed, err)
			return nil
		}
		l.faces[at] = face
	}
	return l.faces[at]
}

// find is the first face for a letter; nil when none has it.
func (l *Library) find(r rune, script language.Script, bold bool) *Face {
	if f := l.usual(bold); r < 0x250 && f.has(r) {
		return f
	}
	for _, at := range candidates(script, bold) {
		if f := l.face(at); f != nil && f.has(r) {
			return f
		}
	}
	return nil
}

// usual is the face that the pages are set in.
func (l *Library) usual(bold bool) *Face {
	if bold {
		return l.faces[liberationBold]
	}
	return l.faces[liberation]
}

// Outline is the shape of a glyph: moves, lines and curves in ems, upwards from the line that letters stand on.
func (f *Face) Outline(g Glyph) []Piece {
	drawn, ok := f.face.GlyphData(g.id).(font.GlyphOutline)
	if !ok {
		return nil
	}
	pieces := make([]Piece, 0, len(drawn.Segments))
	for i := range drawn.Segments {
		s := &drawn.Segments[i]
		piece := Piece{Points: make([]Point, 0, 3)}
		for _, p := range s.ArgsSlice() {
			piece.Points = append(piece.Points, Point{g.X + float64(p.X)/f.upem, g.Y + float64(p.Y)/f.upem})
		}
		piece.Moves = s.Op == moveTo
		pieces = append(pieces, piece)
	}
	return pieces
}

// Piece is a part of an outline: to the last of its points, which is one for a move or a line, and more for a curve
// with the points before as its controls.
type Piece struct {
	Moves  bool // it begins a new contour
	Points []Point
}

// Point is a place, in ems.
type Point struct{ X, Y float64 }
