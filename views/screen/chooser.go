package screen

import (
	"fmt"

	"stumble/views/wrap"
)

// chooser is a screen that lists things, of which one is chosen and opened.
type chooser struct {
	name    string
	columns string // headings
	empty   string // what is said of no items
	items   []item
	failed  error // why there are none, or why the last could not be opened
	bottom  bool  // nothing lies below it to go back to
	at      int   // the item chosen
	top     int   // the first item shown
	room    int   // items that found room when it was last drawn
}

// item is one thing of a list.
type item struct {
	line   string
	detail []string // told of the one that is chosen, a paragraph each
	enter  string   // what Enter does with it
	open   func() (Screen, error)
}

// Name is what it is called.
func (c *chooser) Name() string { return c.name }

// MinimumSize is that of most screens.
func (c *chooser) MinimumSize() (int, int) { return MinWidth, MinHeight }

// Key chooses, opens or goes back.
func (c *chooser) Key(k Key) Next {
	switch {
	case k.Name == Up:
		c.at--
	case k.Name == Down:
		c.at++
	case k.Name == PageUp:
		c.at -= max(c.room, 1)
	case k.Name == PageDown, k.is(' '):
		c.at += max(c.room, 1)
	case k.Name == Home:
		c.at = 0
	case k.Name == End:
		c.at = len(c.items)
	case (k.Name == Enter || k.Name == Right) && len(c.items) > 0:
		return c.open()
	default:
		if next, is := away(k); is {
			return next
		}
	}
	c.at = max(min(c.at, len(c.items)-1), 0)
	return Next{}
}

func (c *chooser) open() Next {
	s, err := c.items[c.at].open()
	if c.failed = err; err != nil {
		return Next{}
	}
	return over(s)
}

// detailLines is the room at the foot for what is told of the item chosen.
const detailLines = 4

// Draw shows the list around the item chosen, and beneath it what is told of that.
func (c *chooser) Draw(p *Paper) {
	cv := p.canvas
	cv.text(0, 0, wrap.Cut(c.name, cv.area.w, p.gl.more), p.pal.strong)
	if n := len(c.items); n > 0 {
		cv.right(cv.area.w, 0, fmt.Sprintf("%d of %d", c.at+1, n), p.pal.faint)
		cv.text(1, 2, wrap.Cut(c.columns, cv.area.w-1, p.gl.more), p.pal.faint)
	}
	c.room = cv.area.h - 3 - detailLines - 2
	c.top = min(max(c.top, c.at-c.room+1), c.at)
	for i := range min(c.room, len(c.items)-c.top) {
		c.drawItem(p, 3+i, c.top+i)
	}
	y := 3 + c.room + 1
	for _, line := range c.told(cv.area.w) {
		if y >= cv.area.h-1 {
			break
		}
		cv.text(0, y, line, p.pal.plain)
		y++
	}
	cv.line(cv.area.h-1, c.keyFields(), 2)
}

// drawItem paints a line of the list; the chosen one has a sign and is reversed.
func (c *chooser) drawItem(p *Paper, y, i int) {
	cv, style := p.canvas, p.pal.plain
	if i == c.at {
		style = p.pal.alert
		cv.run(0, y, cv.area.w, ' ', style)
		cv.rune(0, y, p.gl.worst, style)
	}
	cv.text(1, y, wrap.Cut(c.items[i].line, cv.area.w-2, p.gl.more), style)
}

// told is what stands at the foot.
func (c *chooser) told(w int) (lines []string) {
	switch {
	case c.failed != nil:
		return wrap.Text(c.failed.Error(), w)
	case len(c.items) == 0:
		return wrap.Text(c.empty, w)
	}
	for _, text := range c.items[c.at].detail {
		lines = append(lines, wrap.Text(text, w)...)
	}
	return lines
}

func (c *chooser) keyFields() (fields []field) {
	if len(c.items) > 0 {
		fields = append(fields, field{words: []string{"up and down choose", ""}, rank: 1},
			field{words: []string{"Enter " + c.items[c.at].enter}})
	}
	if c.bottom {
		return append(fields, ends()[1:]...)
	}
	return append(fields, ends()...)
}
