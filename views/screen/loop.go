package screen

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"github.com/gdamore/tcell/v2"

	"stumble/obd/clock"
)

// FramesPerSecond is the most frames drawn in a second. Nothing is drawn while nothing changes.
const FramesPerSecond = 30

// Options is how to show, not what.
type Options struct {
	Palette Palette // ChoosePalette picks one; the zero Palette is MonoPalette

	shown func() // called after each frame
}

// PanicError is a fault of the program met while the screen was up. The terminal has been given back.
type PanicError struct {
	Value any
	Stack []byte
}

func (e *PanicError) Error() string {
	return fmt.Sprintf("the screen failed: %v; --plain shows the same without one", e.Value)
}

// Run owns the terminal, and shows a screen and those that it opens, until the user leaves (nil), the context ends (its
// cause), or something fails. The terminal is given back whatever happens, a panic included, which comes back as a
// *PanicError; so is what the screens hold. clk paces the frames: hand in the system's clock even where the car's runs
// faster. The terminal must have been taken over, and nobody else may use it meanwhile.
func Run(ctx context.Context, t Terminal, clk clock.Clock, first Screen, opts Options) (err error) {
	if opts.Palette == (Palette{}) {
		opts.Palette = MonoPalette()
	}
	l := &loop{terminal: t, screens: []Screen{first}, opts: opts, glyphs: glyphsFor(t), dirty: true}
	events := make(chan tcell.Event)
	fed := make(chan error, 1)
	go feed(t, events, fed)
	defer func() {
		if p := recover(); p != nil {
			err = &PanicError{p, debug.Stack()}
		}
	}()
	defer l.closeFrom(0)
	defer restore(t, events) // runs first: the terminal is back before anything is reported
	ticker := clk.NewTicker(time.Second / FramesPerSecond)
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case ev, ok := <-events:
			if !ok {
				return <-fed
			}
			if left := l.take(ev); left {
				return nil
			}
		case <-ticker.C():
			l.tick()
		}
	}
}

// feed passes the terminal's events on until the screen ends.
func feed(t Terminal, events chan<- tcell.Event, fed chan<- error) {
	defer func() {
		if p := recover(); p != nil {
			fed <- &PanicError{p, debug.Stack()}
			return
		}
		fed <- errors.New("the terminal was closed")
	}()
	t.ChannelEvents(events, nil)
}

// restore gives the terminal back. Events are taken meanwhile, for a full queue would hold the library up.
func restore(t Terminal, events <-chan tcell.Event) {
	drained := make(chan struct{})
	go func() {
		defer close(drained)
		for range events {
		}
	}()
	t.Fini()
	<-drained
}

// loop is the state of the goroutine that owns the terminal.
type loop struct {
	terminal Terminal
	screens  []Screen // the one shown is the last
	opts     Options
	glyphs   glyphs
	dirty    bool // something changed since the last frame
	sync     bool // the terminal may show something else than we think
}

// take acts on one event of the terminal, and reports whether the user leaves.
func (l *loop) take(ev tcell.Event) (left bool) {
	switch ev := ev.(type) {
	case *tcell.EventResize:
		l.dirty, l.sync = true, true
	case *tcell.EventKey:
		l.dirty = true
		l.sync = l.sync || ev.Key() == tcell.KeyCtrlL // something else wrote on the terminal
		return ev.Key() == tcell.KeyCtrlC || l.follow(l.screens[len(l.screens)-1].Key(keyOf(ev)))
	}
	return false
}

// follow shows what comes next, and reports whether that is nothing.
func (l *loop) follow(next Next) (left bool) {
	switch {
	case next.open != nil:
		l.screens = append(l.screens, next.open)
	case next.back && len(l.screens) > 1:
		l.closeFrom(len(l.screens) - 1)
	}
	return next.leave
}

// closeFrom leaves screens, the last first.
func (l *loop) closeFrom(n int) {
	for i := len(l.screens) - 1; i >= n; i-- {
		if c, ok := l.screens[i].(Closer); ok {
			c.Close()
		}
		l.screens = l.screens[:i]
	}
}

// keyOf is a key as screens know it.
func keyOf(ev *tcell.EventKey) Key {
	names := map[tcell.Key]KeyName{
		tcell.KeyRune: Letter, tcell.KeyEnter: Enter, tcell.KeyEscape: Escape,
		tcell.KeyBackspace: Backspace, tcell.KeyBackspace2: Backspace, tcell.KeyCtrlU: WipeLine,
		tcell.KeyUp: Up, tcell.KeyDown: Down, tcell.KeyLeft: Left, tcell.KeyRight: Right,
		tcell.KeyPgUp: PageUp, tcell.KeyPgDn: PageDown, tcell.KeyHome: Home, tcell.KeyEnd: End,
	}
	name, known := names[ev.Key()]
	switch {
	case !known:
		return Key{Name: otherKey}
	case name == Letter:
		return Key{Rune: ev.Rune()}
	}
	return Key{Name: name}
}

// tick draws a frame if there is anything new to draw. What changes beneath another screen is heard all the same. A
// terminal without a bell is no failure.
func (l *loop) tick() {
	rings := false
	for _, s := range l.screens {
		if c, ok := s.(Changing); ok {
			l.dirty = c.Look() || l.dirty
		}
	}
	if !l.dirty {
		return
	}
	for _, s := range l.screens {
		if c, ok := s.(Changing); ok {
			rings = c.Ring() || rings
		}
	}
	if rings {
		_ = l.terminal.Beep()
	}
	draw(paperOf(l.terminal, &l.opts.Palette, &l.glyphs), l.screens[len(l.screens)-1])
	if l.sync {
		l.terminal.Sync()
	} else {
		l.terminal.Show()
	}
	l.dirty, l.sync = false, false
	if l.opts.shown != nil {
		l.opts.shown()
	}
}
