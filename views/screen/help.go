package screen

import (
	"fmt"

	"stumble/views/wrap"
)

// helpText is the help page: how to read the screen, the keys, and what to take care of.
func helpText(g *glyphs) []string {
	return []string{
		"# Take care",
		"Ignition voltage can kill: never hold or pull a wire on a running engine; keep well clear with a pacemaker.",
		"Fans start by themselves; belts turn; exhaust and coolant burn. No loose clothing, no open cooling system.",
		"Exhaust gas kills: run the engine outdoors or with extraction only.",
		"Misses fill the catalyst with raw fuel: it can glow and start a fire. When the lamp flashes, ease off, end the test soon and park clear of anything that burns.",
		"In gear at rest: parking brake on, wheels chocked, service brake held, driver in the seat, nobody in front or behind; seconds of load, not minutes.",
		"On the road the driver drives and a second person reads the screen; or record, and look later.",
		"A hybrid may start its engine by itself.",
		"# Reading it",
		"The first line says what is known. Each rung is a cylinder (b1, b2: its bank), each column a gear state, the present one reversed; brackets tie cylinders that may share a coil.",
		fmt.Sprintf("A bar is %c up to the lower limit, %c up to the rate, %c up to the upper limit: with much %c little is sure yet.", g.surely, g.likely, g.maybe, g.maybe),
		fmt.Sprintf("%c is the worst cell; %c one that got worse against its own earlier running; %s in front: shared out between gear states that cannot be told apart yet.", g.worst, g.rising, g.nearly),
		"A column marked inferred, inf. or ? is a gear state that nobody reported or marked. - is no running there; \"not reported\" is a car without a counter for it. None seen is not none at all: look at the upper limit.",
		"A count that stands still may be a paused monitor: it is not health. In the strip " + string(g.unjudged) + " is a second that the controller may not judge.",
		fmt.Sprintf("The strip has one line a second, the newest lowest: gear (P D R, m for moving), what each counter rose by (+ for ten and more in a narrow lane), engine speed %c and load %c. A rise may have come at any time since the car last brought its counts up to date.", g.down, g.loadAt),
		"# Keys",
		"p n d r: mark the gear: park, neutral, drive, reverse. m: write a note.",
		"u: per 1,000, percent, one in so many, plain counts. 1-9 and 0 for cylinder 10: a bell at each of its misses.",
		"space: hold the strip or let it go; while held, up, down and the page keys look back.",
		"A playback instead: space pauses and plays on; left and right go 10 seconds back and on, < and > a minute; - and + play slower and faster. It takes no marks.",
		"During a guided test s: skip the step, b: begin it again, x: stop the test; in a balance test Enter says that it is done. Ctrl-L: paint anew. q or Ctrl-C: leave.",
	}
}

// help is a page of text over another screen.
type help struct {
	text func(*glyphs) []string // lines that begin with "# " are headings
	page int                    // first line shown
}

func newHelp(text func(*glyphs) []string) *help { return &help{text: text} }

// Name is what it is called.
func (h *help) Name() string { return "help" }

// MinimumSize is that of most screens.
func (h *help) MinimumSize() (int, int) { return MinWidth, MinHeight }

// Draw shows the page from the line turned to.
func (h *help) Draw(p *Paper) {
	cv := p.canvas
	w := min(cv.area.w-2, 100)
	lines := h.lines(p, w)
	room := cv.area.h - 1
	from := min(h.page, max(len(lines)-room, 0))
	h.page = from // so that the way back is not longer than the way there
	for i, a := range lines[from:min(from+room, len(lines))] {
		cv.text(1, i, a.text, a.style)
	}
	foot := "any key closes this page"
	if len(lines) > room {
		foot = fmt.Sprintf("lines %d to %d of %d: space, up and down turn the page; any other key closes it", from+1, min(from+room, len(lines)), len(lines))
	}
	cv.run(0, room, cv.area.w, ' ', p.pal.alert)
	cv.text(1, room, wrap.Cut(foot, cv.area.w-2, p.gl.more), p.pal.alert)
}

// Key turns the page; any other key closes it.
func (h *help) Key(k Key) Next {
	by, turns := turning(k)
	switch {
	case turns:
		h.page = max(h.page+by, 0)
		return Next{}
	case k.is('q'):
		return leave()
	}
	return back()
}

// turning is how many lines on a key turns a text; false for one that turns nothing.
func turning(k Key) (by int, turns bool) {
	switch {
	case k.Name == Down:
		return 1, true
	case k.Name == Up:
		return -1, true
	case k.Name == PageDown, k.is(' '):
		return pageOfLines, true
	case k.Name == PageUp:
		return -pageOfLines, true
	}
	return 0, false
}

func (h *help) lines(p *Paper, w int) []aside {
	var lines []aside
	for _, text := range h.text(p.gl) {
		style, indent := p.pal.plain, ""
		if text[0] == '#' {
			style, text = p.pal.strong, text[2:]
			if len(lines) > 0 {
				lines = append(lines, aside{})
			}
		}
		for _, line := range wrap.Text(text, w-2) {
			lines = append(lines, aside{indent + line, style})
			indent = "  "
		}
	}
	return lines
}
