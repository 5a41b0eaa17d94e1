package screen

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"time"

	"github.com/gdamore/tcell/v2"

	"stumble/misfire/engine"
	"stumble/obd/clock"
	"stumble/views"
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

// Run owns the screen until the user leaves (nil), the context ends (its cause), or something fails. The terminal
// is given back whatever happens, a panic included, which comes back as a *PanicError. clk paces the frames: hand
// in the system's clock even where the car's runs faster. The screen must have been initialised, and nobody
// else may use it meanwhile.
func Run(ctx context.Context, screen tcell.Screen, clk clock.Clock, src Source, act Actions, opts Options) (err error) {
	if opts.Palette == (Palette{}) {
		opts.Palette = MonoPalette()
	}
	l := &loop{screen: screen, src: src, act: act, opts: opts, glyphs: glyphsFor(screen), dirty: true}
	events := make(chan tcell.Event)
	fed := make(chan error, 1)
	go feed(screen, events, fed)
	defer func() {
		if p := recover(); p != nil {
			err = &PanicError{p, debug.Stack()}
		}
	}()
	defer restore(screen, events) // runs first: the terminal is back before anything is reported
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
			if quit := l.take(ev); quit {
				act.Quit()
				return nil
			}
		case <-ticker.C():
			l.tick()
		}
	}
}

// feed passes the terminal's events on until the screen ends.
func feed(screen tcell.Screen, events chan<- tcell.Event, fed chan<- error) {
	defer func() {
		if p := recover(); p != nil {
			fed <- &PanicError{p, debug.Stack()}
			return
		}
		fed <- errors.New("the terminal was closed")
	}()
	screen.ChannelEvents(events, nil)
}

// restore gives the terminal back. Events are taken meanwhile, for a full queue would hold the library up.
func restore(screen tcell.Screen, events <-chan tcell.Event) {
	drained := make(chan struct{})
	go func() {
		defer close(drained)
		for range events {
		}
	}()
	screen.Fini()
	<-drained
}

// loop is the state of the goroutine that owns the screen.
type loop struct {
	screen tcell.Screen
	src    Source
	act    Actions
	opts   Options
	glyphs glyphs
	keys   keys
	heard  heard

	state  *views.State // as last seen; never nil after the first look
	dirty  bool         // keys, size or state changed since the last frame
	sync   bool         // the terminal may show something else than we think
	missed uint16       // cylinders that missed since the last frame, a bit each
	warned bool         // the warning on the screen has rung
	second int          // of the countdown, that has rung
}

// take acts on one event of the terminal.
func (l *loop) take(ev tcell.Event) (quit bool) {
	switch ev := ev.(type) {
	case *tcell.EventResize:
		l.dirty, l.sync = true, true
	case *tcell.EventKey:
		l.look()
		l.dirty = true
		l.sync = l.sync || ev.Key() == tcell.KeyCtrlL // something else wrote on the terminal
		return l.keys.press(ev, l.state, l.act)
	}
	return false
}

// look takes the newest state, if there is another one.
func (l *loop) look() {
	state := l.src.State()
	if state == nil {
		state = &views.State{}
	}
	if l.state != nil && state.Version == l.state.Version {
		return
	}
	l.state, l.dirty = state, true
	l.missed |= l.heard.news(state)
}

// tick draws a frame if there is anything new to draw.
func (l *loop) tick() {
	l.look()
	if !l.dirty {
		return
	}
	l.ring()
	drawFrame(l.screen, &l.opts.Palette, &l.glyphs, &l.keys, l.state)
	if l.sync {
		l.screen.Sync()
	} else {
		l.screen.Show()
	}
	l.dirty, l.sync = false, false
	if l.opts.shown != nil {
		l.opts.shown()
	}
}

// ring sounds the bell, once a frame, for new misses of the cylinders chosen, for a warning that comes up and for each
// second of a countdown: nobody who drives or works looks at the screen. A terminal without a bell is no failure.
func (l *loop) ring() {
	warn, second := l.state.Warning() != "", l.state.Second
	if l.missed&l.keys.bell != 0 || warn && !l.warned || second != 0 && second != l.second {
		_ = l.screen.Beep()
	}
	l.missed, l.warned, l.second = 0, warn, second
}

// heard remembers which misses were seen already.
type heard struct {
	at     time.Time // the newest second looked at
	misses [engine.MaxCylinders]uint16
	begun  bool
}

// news gives a bit for each cylinder that missed since the last call; the first call only listens. The newest
// second of a strip may still be filling, so it is looked at again.
func (h *heard) news(s *views.State) (missed uint16) {
	if n := len(s.Strip); n > 0 && s.Strip[n-1].At.Before(h.at) { // a playback went back
		*h = heard{}
	}
	for i := range s.Strip {
		m := &s.Strip[i]
		if m.At.Before(h.at) {
			continue
		}
		before := h.misses
		if m.At.After(h.at) {
			before = [engine.MaxCylinders]uint16{}
		}
		for c, n := range m.Misses {
			if n > before[c] {
				missed |= 1 << c
			}
		}
		h.at, h.misses = m.At, m.Misses
	}
	if !h.begun {
		h.begun = len(s.Strip) > 0
		return 0
	}
	return missed
}
