package screen

import (
	"fmt"
	"strings"

	"github.com/gdamore/tcell/v2"
	_ "github.com/gdamore/tcell/v2/encoding" // terminals whose character set is not UTF-8
	"github.com/rivo/uniseg"

	"stumble/views/wrap"
)

// Terminal is a terminal that was taken over.
type Terminal = tcell.Screen

// Check says what keeps a screen from being shown, as far as that can be told without taking the terminal over.
func Check() error {
	_, err := tcell.NewScreen()
	return refused(err)
}

// Open takes over the terminal. The error says what is wrong with it and that --plain does without. Whoever gets a
// terminal hands it to Run, which gives it back.
func Open() (Terminal, error) {
	t, err := tcell.NewScreen()
	if err == nil {
		err = t.Init()
	}
	return t, refused(err)
}

func refused(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("no screen on this terminal (%w): use --plain, or check TERM and LANG", err)
}

// draws reports whether the terminal's character set holds a text.
func draws(t Terminal, text string) bool {
	set := tcell.GetEncoding(t.CharacterSet())
	if set == nil {
		return false
	}
	there, err := set.NewEncoder().String(text)
	if err != nil {
		return false
	}
	back, err := set.NewDecoder().String(there)
	return err == nil && back == text // some sets put a question mark for what they lack
}

// style is how characters look. The zero style is the terminal's own.
type style struct {
	ink, ground                     colour
	bold, faint, reverse, underline bool
}

// colour is a colour of the terminal, counted from 1; 0 is its own. The first 16 are those of every colour terminal.
type colour int16

// Bold, Dim and Reverse are the style with one thing changed.
func (s style) Bold(on bool) style    { s.bold = on; return s }
func (s style) Dim(on bool) style     { s.faint = on; return s }
func (s style) Reverse(on bool) style { s.reverse = on; return s }

func (c colour) tcell() tcell.Color {
	if c == 0 {
		return tcell.ColorDefault
	}
	return tcell.PaletteColor(int(c) - 1)
}

func (s style) tcell() tcell.Style {
	return tcell.StyleDefault.Foreground(s.ink.tcell()).Background(s.ground.tcell()).
		Bold(s.bold).Dim(s.faint).Reverse(s.reverse).Underline(s.underline)
}

// paperOf is a terminal made empty, to draw on. The size is asked for anew each time, since the library changes it from
// a goroutine of its own.
func paperOf(t Terminal, pal *Palette, gl *glyphs) *Paper {
	w, h := t.Size()
	t.HideCursor()
	t.Fill(' ', pal.plain.tcell())
	return &Paper{canvas{t, rect{0, 0, w, h}}, pal, gl}
}

// rect is a rectangle of cells. An empty one has no width or no height.
type rect struct{ x, y, w, h int }

func (r rect) empty() bool { return r.w <= 0 || r.h <= 0 }

// canvas is a rectangle of the screen that may be drawn on. Places are counted from its own corner; what falls
// outside is cut off.
type canvas struct {
	screen Terminal
	area   rect
}

// at is the part of a canvas in a rectangle of screen coordinates.
func (c canvas) at(r rect) canvas { return canvas{c.screen, r} }

// rune draws one character of one cell.
func (c canvas) rune(x, y int, r rune, style style) {
	if x < 0 || y < 0 || x >= c.area.w || y >= c.area.h {
		return
	}
	c.screen.SetContent(c.area.x+x, c.area.y+y, r, nil, style.tcell())
}

// run draws one character n times.
func (c canvas) run(x, y, n int, r rune, style style) {
	for i := range n {
		c.rune(x+i, y, r, style)
	}
}

// text draws one line and gives the place after it.
func (c canvas) text(x, y int, s string, style style) int {
	for s != "" {
		if s[0] < 0x80 && (len(s) == 1 || s[1] < 0x80) { // nothing can combine with it
			c.rune(x, y, wrap.Printable(rune(s[0])), style)
			x, s = x+1, s[1:]
			continue
		}
		cluster, rest, width, _ := uniseg.FirstGraphemeClusterInString(s, -1)
		if width > 0 && x >= 0 && y >= 0 && x+width <= c.area.w && y < c.area.h {
			c.screen.Put(c.area.x+x, c.area.y+y, strings.Map(wrap.Printable, cluster), style.tcell())
		}
		x, s = x+width, rest
	}
	return x
}

// right draws a line that ends before x.
func (c canvas) right(x, y int, s string, style style) { c.text(x-wrap.Width(s), y, s, style) }

// field is one item of a line that has several: its wordings, longest first. A last wording of "" lets the item
// be left out. Items of a higher rank give way first, and where all have their last wording, those above rank 0 are
// left out: half a word is worse than none.
type field struct {
	words []string
	rank  int
	style style
}

// fit chooses the wording of each item so that all stand within w cells with gap cells between, if they can.
func fit(fields []field, w, gap int) []string {
	pick := make([]int, len(fields))
	for taken(fields, pick, gap) > w {
		next := givesWay(fields, pick)
		if next < 0 {
			break
		}
		pick[next]++
	}
	words := make([]string, len(fields))
	for i, f := range fields {
		words[i] = f.words[pick[i]]
	}
	for over := taken(fields, pick, gap) - w; over > 0; {
		out := leastWanted(fields, words)
		if out < 0 {
			break
		}
		over -= wrap.Width(words[out]) + gap
		words[out] = ""
	}
	return words
}

// leastWanted is the shown item of the highest rank above 0, -1 for none.
func leastWanted(fields []field, words []string) int {
	out := -1
	for i, f := range fields {
		if words[i] != "" && f.rank > 0 && (out < 0 || f.rank > fields[out].rank) {
			out = i
		}
	}
	return out
}

// givesWay is the item to shorten next, -1 when none can be: that of the highest rank, among equals the one that
// was shortened least.
func givesWay(fields []field, pick []int) int {
	next := -1
	for i, f := range fields {
		if pick[i] == len(f.words)-1 {
			continue
		}
		if next < 0 || f.rank > fields[next].rank || f.rank == fields[next].rank && pick[i] < pick[next] {
			next = i
		}
	}
	return next
}

func taken(fields []field, pick []int, gap int) int {
	sum := -gap
	for i, f := range fields {
		if n := wrap.Width(f.words[pick[i]]); n > 0 {
			sum += n + gap
		}
	}
	return max(sum, 0)
}

// line draws items side by side.
func (c canvas) line(y int, fields []field, gap int) {
	x := 0
	for i, words := range fit(fields, c.area.w, gap) {
		if words != "" {
			x = c.text(x, y, words, fields[i].style) + gap
		}
	}
}
