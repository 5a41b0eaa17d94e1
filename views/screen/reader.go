package screen

import (
	"context"
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"stumble/views/wrap"
)

// Layout writes a text in lines of at most so many columns.
type Layout func(w io.Writer, width int) error

// reader is a screen of text, which may take a while to come.
type reader struct {
	name    string
	waiting string // what is said until the text is there
	links   []link
	from    int // first line shown

	coming chan arrival // nil once it is there
	stop   context.CancelFunc
	layout Layout
	failed error
}

// link is another screen that a key opens.
type link struct {
	key   rune
	words string // what it opens
	open  func() Screen
}

// arrival is what a reader was waiting for.
type arrival struct {
	layout Layout
	failed error
}

// newReader begins to load a text. Leaving the screen ends ctx for it, and waits until it has ended.
func newReader(ctx context.Context, name, waiting string, load func(context.Context) (Layout, error),
	links ...link) *reader {
	ctx, stop := context.WithCancel(ctx)
	r := &reader{name: name, waiting: waiting, links: links, coming: make(chan arrival, 1), stop: stop}
	go func(coming chan<- arrival) {
		var a arrival
		defer func() {
			if p := recover(); p != nil {
				a.failed = &PanicError{p, debug.Stack()}
			}
			coming <- a
		}()
		a.layout, a.failed = load(ctx)
	}(r.coming)
	return r
}

// Name is what it is called.
func (r *reader) Name() string { return r.name }

// MinimumSize is that of most screens.
func (r *reader) MinimumSize() (int, int) { return MinWidth, MinHeight }

// Look takes the text once it is there.
func (r *reader) Look() bool {
	select {
	case a := <-r.coming:
		r.layout, r.failed, r.coming = a.layout, a.failed, nil
		return true
	default:
		return false
	}
}

// Ring never sounds.
func (r *reader) Ring() bool { return false }

// Close stops what is still loading.
func (r *reader) Close() {
	r.stop()
	if r.coming != nil {
		<-r.coming
		r.coming = nil
	}
}

// Key turns the text, opens what is linked, or goes back.
func (r *reader) Key(k Key) Next {
	if by, turns := turning(k); turns {
		r.from = max(r.from+by, 0)
		return Next{}
	}
	if next, is := away(k); is {
		return next
	}
	if k.Name == Home {
		r.from = 0
	}
	for _, l := range r.links {
		if k.is(l.key) {
			return over(l.open())
		}
	}
	return Next{}
}

// readable is the widest that lines of text are laid out.
const readable = 100

// Draw shows the text from the line turned to.
func (r *reader) Draw(p *Paper) {
	cv := p.canvas
	cv.text(0, 0, wrap.Cut(r.name, cv.area.w, p.gl.more), p.pal.strong)
	lines := r.lines(min(cv.area.w, readable))
	room := cv.area.h - 4
	r.from = min(r.from, max(len(lines)-room, 0)) // so that the way back is not longer than the way there
	shown := lines[r.from:min(r.from+room, len(lines))]
	for i, line := range shown {
		style := p.pal.plain
		if at := r.from + i + 1; at < len(lines) && isRule(lines[at]) {
			style = p.pal.strong
		}
		cv.text(0, 2+i, wrap.Cut(line, cv.area.w, p.gl.more), style)
	}
	fields := make([]field, 0, len(r.links)+4)
	if len(lines) > room {
		place := fmt.Sprintf("lines %d to %d of %d", r.from+1, r.from+len(shown), len(lines))
		words := []string{place + ", space and arrows turn", place, ""}
		fields = append(fields, field{words: words, rank: 2, style: p.pal.faint})
	}
	for _, l := range r.links {
		fields = append(fields, field{words: []string{string(l.key) + " " + l.words}, rank: 0})
	}
	cv.line(cv.area.h-1, append(fields, ends()...), 2)
}

// ends are the keys that every screen of saved jobs has.
func ends() []field {
	return []field{{words: []string{"Esc back"}}, {words: []string{"? help"}}, {words: []string{"q quit"}}}
}

// lines are the text, or what is said instead.
func (r *reader) lines(width int) []string {
	switch {
	case r.failed != nil:
		return wrap.Text(r.failed.Error(), width)
	case r.layout == nil:
		return wrap.Text(r.waiting, width)
	}
	var text strings.Builder
	if err := r.layout(&text, width); err != nil {
		return wrap.Text(err.Error(), width)
	}
	return strings.Split(strings.TrimRight(text.String(), "\n"), "\n")
}

// isRule reports a line that underlines the one above.
func isRule(line string) bool {
	return line != "" && (strings.Trim(line, "=") == "" || strings.Trim(line, "-") == "")
}
