// Package screen is what the terminal shows: each screen is a type that draws itself and obeys keys, and one loop shows
// them. It draws what summaries and stored jobs say and decides nothing about them; no clock but the one that paces its
// frames. Two files know the terminal: canvas.go, which draws on it, and loop.go, which listens to it.
package screen

import (
	"fmt"

	"stumble/views/wrap"
)

// Screen is one picture and what the keys do while it is shown. The loop calls it from one goroutine.
type Screen interface {
	// Name is what it is called, in a few words.
	Name() string
	// MinimumSize is the least that it can be read at, in columns and lines; below it the loop asks for more room.
	MinimumSize() (w, h int)
	// Draw paints all of it.
	Draw(p *Paper)
	// Key obeys a key and says what is shown next.
	Key(k Key) Next
}

// Changing is a Screen that changes without a key. Both are called many times a second, also while another screen lies
// over it.
type Changing interface {
	Look() (changed bool) // takes what is new
	Ring() bool           // whether the bell sounds for what was taken since the last call
}

// Closer is a Screen that holds something: Close gives it back when the screen is left.
type Closer interface{ Close() }

// Key is a key that was pressed: a letter, or one that has a name.
type Key struct {
	Name KeyName
	Rune rune // of a Letter
}

// KeyName names the keys that are no letters.
type KeyName uint8

// The keys that screens know.
const (
	Letter KeyName = iota
	Enter
	Escape
	Backspace
	Up
	Down
	Left
	Right
	PageUp
	PageDown
	Home
	End
	WipeLine // Ctrl-U
	otherKey
)

// is reports whether a key is that letter.
func (k Key) is(r rune) bool { return k.Name == Letter && k.Rune == r }

// Next is what is shown after a key. The zero Next is the same screen.
type Next struct {
	leave, back bool
	open        Screen
}

// What may come next: another screen over this one, the one below, or nothing more.
func over(s Screen) Next { return Next{open: s} }
func back() Next         { return Next{back: true} }
func leave() Next        { return Next{leave: true} }

// away is what the keys do that leave a screen of the saved jobs; false for any other key.
func away(k Key) (next Next, is bool) {
	switch {
	case k.Name == Escape, k.Name == Left, k.Name == Backspace:
		return back(), true
	case k.is('q'):
		return leave(), true
	case k.is('?'):
		return over(newHelp(jobsHelp)), true
	}
	return Next{}, false
}

// Paper is the whole terminal to draw on, in its colours and characters.
type Paper struct {
	canvas canvas
	pal    *Palette
	gl     *glyphs
}

// The smallest window of most screens.
const (
	MinWidth  = 60
	MinHeight = 20
)

// draw paints a screen, or one mark that asks for the room that it needs.
func draw(p *Paper, s Screen) {
	area := p.canvas.area
	w, h := s.MinimumSize()
	if area.w >= w && area.h >= h {
		s.Draw(p)
		return
	}
	words := fmt.Sprintf("window too small: %d x %d wanted", w, h)
	if area.w < wrap.Width(words) {
		words = "make larger"
	}
	p.canvas.text(0, area.h/2, wrap.Cut(words, area.w, p.gl.more), p.pal.strong)
}
