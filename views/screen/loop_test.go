package screen

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd/clock"
	"stumble/views"
	"stumble/views/viewstest"
)

// Within these tests time is testing/synctest's: it stands still until every goroutine waits, and then jumps.

const frame = time.Second / FramesPerSecond

// script is a source, and the actions it was asked for. What the test writes is handed to the loop by steps: the
// test counts it up before it lets time pass, the loop reads it whenever it looks.
type script struct {
	steps atomic.Int64
	state *views.State
	done  []string
	fail  any // what the next look or action panics with
}

func (s *script) State() *views.State {
	s.steps.Load()
	if s.fail != nil {
		panic(s.fail)
	}
	return s.state
}

func (s *script) Mark(g gear.State) { s.done = append(s.done, "mark "+g.String()) }
func (s *script) Note(text string)  { s.done = append(s.done, "note "+text) }
func (s *script) StepSkip()         { s.done = append(s.done, "skip") }
func (s *script) StepRepeat()       { s.done = append(s.done, "repeat") }
func (s *script) StepStop()         { s.done = append(s.done, "stop") }
func (s *script) change(f func(*views.State)) {
	next := *s.state
	f(&next)
	next.Version++
	s.state = &next
}

// bellScreen counts how often it rang, how often it was synchronised, and how often given back.
type bellScreen struct {
	tcell.SimulationScreen
	rang, synced, finished int
	breakEvents, breakShow any // what these calls panic with
}

func (b *bellScreen) Beep() error { b.rang++; return nil }
func (b *bellScreen) Sync()       { b.synced++; b.SimulationScreen.Sync() }
func (b *bellScreen) Fini()       { b.finished++; b.SimulationScreen.Fini() }

func (b *bellScreen) Show() {
	if b.breakShow != nil {
		panic(b.breakShow)
	}
	b.SimulationScreen.Show()
}

func (b *bellScreen) ChannelEvents(ch chan<- tcell.Event, quit <-chan struct{}) {
	if b.breakEvents != nil {
		defer close(ch)
		panic(b.breakEvents)
	}
	b.SimulationScreen.ChannelEvents(ch, quit)
}

// session is a running loop under a test's control.
type session struct {
	*script
	t      *testing.T
	screen *bellScreen
	cancel context.CancelCauseFunc
	ended  chan error
	frames int
	text   string // what the last frame showed
}

// start runs the loop on an 80x24 screen inside the bubble and waits for its first frame.
func start(t *testing.T, src *script) *session {
	s := begin(t, src, &bellScreen{SimulationScreen: tcell.NewSimulationScreen("UTF-8")})
	s.wait(frame)
	require.Equal(t, 1, s.frames, "the first frame")
	return s
}

func begin(t *testing.T, src *script, screen *bellScreen) *session {
	require.NoError(t, screen.Init())
	screen.SetSize(80, 24)
	ctx, cancel := context.WithCancelCause(t.Context())
	s := &session{script: src, t: t, screen: screen, cancel: cancel, ended: make(chan error, 1)}
	pal := ColourPalette(256)
	opts := Options{Palette: pal, shown: func() {
		s.frames++
		s.text, _, _ = strings.Cut(dump(screen, &pal), "\n===")
	}}
	go func() { s.ended <- Run(ctx, screen, clock.System{}, NewLive(src, src), opts) }()
	t.Cleanup(func() { cancel(nil) })
	return s
}

// wait lets fake time pass.
func (s *session) wait(d time.Duration) {
	s.steps.Add(1)
	time.Sleep(d)
	synctest.Wait()
}

// press types runes, then lets the frame be drawn.
func (s *session) press(text string) {
	for _, r := range text {
		s.screen.InjectKey(tcell.KeyRune, r, tcell.ModNone)
		synctest.Wait()
	}
	s.wait(frame)
}

func (s *session) key(k tcell.Key) {
	s.screen.InjectKey(k, 0, tcell.ModNone)
	synctest.Wait()
	s.wait(frame)
}

// end is what Run returned; it must have returned by now.
func (s *session) end() error {
	s.t.Helper()
	synctest.Wait()
	select {
	case err := <-s.ended:
		assert.Equal(s.t, 1, s.screen.finished, "the terminal was given back once")
		w, h := s.screen.Size()
		assert.Equal(s.t, [2]int{}, [2]int{w, h}, "the screen is closed")
		return err
	default:
		require.Fail(s.t, "still running")
		return nil
	}
}

func bubble(t *testing.T, name string, f func(*testing.T)) {
	t.Run(name, func(t *testing.T) { synctest.Test(t, f) })
}

func TestDrawsOnlyWhatIsNew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		s.wait(time.Minute)
		assert.Equal(t, 1, s.frames, "an unchanged version is not drawn")

		s.change(func(st *views.State) { st.Alert = "ease off now" })
		s.wait(frame)
		assert.Equal(t, 2, s.frames)
		assert.Contains(t, s.text, "ease off now")

		for range 1000 { // changes come faster than frames
			s.change(func(*views.State) {})
			s.wait(time.Millisecond)
		}
		assert.LessOrEqual(t, s.frames-2, FramesPerSecond+1)
		assert.GreaterOrEqual(t, s.frames-2, FramesPerSecond-1)
		s.press("q")
		assert.NoError(t, s.end())
	})
}

func TestKeys(t *testing.T) {
	for _, tc := range []struct {
		name, press string
		guided      bool
		want        []string
	}{
		{name: "gear marks", press: "pndr", want: []string{"mark P/N", "mark P/N", "mark D", "mark R"}},
		{name: "steps without a test do nothing", press: "sbx"},
		{name: "steps", press: "sbx", guided: true, want: []string{"skip", "repeat", "stop"}},
		{name: "unknown keys do nothing", press: "aZ%é日"},
		{name: "help takes no commands", press: "?d"},
	} {
		bubble(t, tc.name, func(t *testing.T) {
			src := &script{state: viewstest.Wren(t)}
			if tc.guided {
				src.state = viewstest.Guided(t)
			}
			s := start(t, src)
			s.press(tc.press)
			assert.Equal(t, tc.want, s.done)
			s.key(tcell.KeyCtrlC)
			assert.NoError(t, s.end())
			assert.Equal(t, tc.want, s.done)
		})
	}
}

func TestUnits(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		for _, want := range []string{"▶3.1%▲", "▶1 in 32▲", "▶31/1,000▲", "▶31.0▲"} {
			s.press("u")
			assert.Contains(t, s.text, want)
		}
		s.press("q")
		assert.NoError(t, s.end())
	})
}

func TestNoteEntry(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		s.press("m")
		s.press("quit Ölx")
		assert.Contains(t, s.text, "note: quit Ölx")
		_, _, shown := s.screen.GetCursor()
		assert.True(t, shown)
		s.key(tcell.KeyBackspace2)
		s.key(tcell.KeyEnter)
		assert.Equal(t, []string{"note quit Öl"}, s.done)
		assert.NotContains(t, s.text, "note: ")
		_, _, shown = s.screen.GetCursor()
		assert.False(t, shown)

		s.press("mdropped")
		s.key(tcell.KeyEscape)
		s.press("m   ")
		s.key(tcell.KeyEnter)
		s.press("mgone")
		s.key(tcell.KeyCtrlU)
		s.key(tcell.KeyBackspace)
		s.press(strings.Repeat("x", longestNote+5))
		s.key(tcell.KeyEnter)
		assert.Equal(t, []string{"note quit Öl", "note " + strings.Repeat("x", longestNote)}, s.done)

		s.press("m")
		s.key(tcell.KeyCtrlC)
		assert.NoError(t, s.end())
	})
}

func TestHoldingTheStrip(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		later := func(st *views.State) {
			next := viewstest.Strip(120, 4, 2)
			for i := range next {
				next[i].At = next[i].At.Add(49 * time.Second)
			}
			st.Strip = next
		}
		s.press(" ")
		assert.Contains(t, s.text, "HELD")
		s.change(later)
		s.wait(frame)
		assert.Contains(t, s.text, "04:31 D")
		assert.NotContains(t, s.text, "05:20")
		for range 14 {
			s.key(tcell.KeyUp)
		}
		s.key(tcell.KeyPgUp)
		s.key(tcell.KeyPgDn)
		s.key(tcell.KeyDown)
		assert.Contains(t, s.text, "04:18 m")
		for range 40 {
			s.key(tcell.KeyPgUp)
		}
		assert.Contains(t, s.text, "02:40", "the oldest seconds")
		for range 40 {
			s.key(tcell.KeyPgDn)
		}
		assert.Contains(t, s.text, "04:31 D")
		s.press(" ")
		assert.NotContains(t, s.text, "HELD")
		assert.Contains(t, s.text, "05:20 D")
		s.press("q")
		assert.NoError(t, s.end())
	})
}

func TestBell(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		miss := func(cylinder int, n uint16, after time.Duration) {
			s.change(func(st *views.State) {
				m := st.Strip[len(st.Strip)-1]
				m.At = m.At.Add(after)
				m.Misses = [16]uint16{}
				m.Misses[cylinder-1] = n
				if after == 0 {
					st.Strip = st.Strip[:len(st.Strip)-1]
				}
				st.Strip = append(append([]misfire.Moment{}, st.Strip...), m)
			})
			s.wait(frame)
		}
		miss(2, 1, time.Second)
		assert.Zero(t, s.screen.rang, "no bell was asked for")
		s.press("2")
		assert.Contains(t, s.text, "bell on 2")
		assert.Zero(t, s.screen.rang, "what was heard before does not ring")
		miss(3, 1, time.Second)
		assert.Zero(t, s.screen.rang, "another cylinder")
		miss(2, 4, time.Second)
		assert.Equal(t, 1, s.screen.rang)
		miss(2, 4, 0)
		assert.Equal(t, 1, s.screen.rang, "the same second again")
		miss(2, 5, 0)
		assert.Equal(t, 2, s.screen.rang, "the same second, one more")
		s.press("290")
		assert.NotContains(t, s.text, "bell on", "cylinders that the engine does not have")
		miss(2, 1, time.Second)
		assert.Equal(t, 2, s.screen.rang)
		s.press("q")
		assert.NoError(t, s.end())
	})
}

// A countdown rings at each of its seconds.
func TestCountdownRings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		rang := s.screen.rang
		count := func(second int) int {
			s.change(func(st *views.State) { st.Second = second })
			s.wait(frame)
			return s.screen.rang - rang
		}
		assert.Equal(t, 1, count(1))
		assert.Equal(t, 1, count(1))
		assert.Equal(t, 2, count(2))
		assert.Equal(t, 2, count(0))
		assert.Equal(t, 3, count(1))
		s.press("q")
		assert.NoError(t, s.end())
	})
}

// A warning rings when it comes up, once, and again when it comes back.
func TestWarningRings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		rang := s.screen.rang
		warn := func(text string) int {
			s.change(func(st *views.State) { st.Alert = text })
			s.wait(frame)
			return s.screen.rang - rang
		}
		assert.Equal(t, 1, warn("ease off"))
		assert.Equal(t, 1, warn("ease off, now"))
		assert.Equal(t, 1, warn(""))
		assert.Equal(t, 2, warn("ease off"))
		s.press("q")
		assert.NoError(t, s.end())
	})
}

func TestResize(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		resize := func(w, h int) {
			s.screen.SetSize(w, h)
			require.NoError(t, s.screen.PostEvent(tcell.NewEventResize(w, h)))
			synctest.Wait()
			s.wait(frame)
		}
		resize(120, 40)
		assert.Equal(t, 2, s.frames)
		assert.Equal(t, 1, s.screen.synced, "a resize repaints all")
		assert.Contains(t, s.text, "whole drive")
		s.key(tcell.KeyCtrlL)
		assert.Equal(t, 2, s.screen.synced, "asked for")
		resize(40, 10)
		assert.Equal(t, "window too small: 60 x 20 wanted", strings.TrimSpace(s.text))
		for _, size := range [][2]int{{1, 1}, {0, 0}, {300, 2}, {2, 300}, {80, 24}} {
			resize(size[0], size[1])
		}
		assert.Contains(t, s.text, "Cylinder 2 misses")
		s.press("q")
		assert.NoError(t, s.end())
	})
}

func TestHelpPage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		s.press("?")
		assert.Contains(t, s.text, "Ignition voltage can kill")
		s.press(" ")
		s.key(tcell.KeyDown)
		assert.Contains(t, s.text, "lines 12 to")
		s.key(tcell.KeyUp)
		s.key(tcell.KeyPgUp)
		s.key(tcell.KeyUp)
		assert.Contains(t, s.text, "lines 1 to")
		for range 9 {
			s.key(tcell.KeyPgDn)
		}
		assert.Contains(t, s.text, "Ctrl-C")
		s.key(tcell.KeyUp)
		assert.NotContains(t, s.text, "Ctrl-C: leave.", "no turning past the end")
		s.press("y")
		assert.Contains(t, s.text, "Cylinder 2 misses")
		s.press("?q")
		assert.NoError(t, s.end())
	})
}

func TestEnds(t *testing.T) {
	bubble(t, "context", func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		cause := errors.New("the drive is over")
		s.cancel(cause)
		assert.ErrorIs(t, s.end(), cause)
		assert.Empty(t, s.done, "nobody asked to leave")
	})
	bubble(t, "panic of the source", func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		s.fail = "no such state"
		s.wait(frame)
		err := s.end()
		var failed *PanicError
		require.ErrorAs(t, err, &failed)
		assert.Contains(t, string(failed.Stack), "script")
		assert.Equal(t, "the screen failed: no such state; --plain shows the same without one", err.Error())
	})
	bubble(t, "panic while drawing", func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		s.screen.breakShow = "bad cell"
		s.press("u")
		var failed *PanicError
		require.ErrorAs(t, s.end(), &failed)
		assert.Equal(t, "bad cell", failed.Value)
	})
	bubble(t, "panic of the event feed", func(t *testing.T) {
		screen := &bellScreen{SimulationScreen: tcell.NewSimulationScreen("UTF-8"), breakEvents: "bad terminal"}
		s := begin(t, &script{state: viewstest.Wren(t)}, screen)
		assert.ErrorContains(t, s.end(), "bad terminal")
	})
	bubble(t, "terminal gone", func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		s.screen.SimulationScreen.Fini()
		assert.EqualError(t, s.end(), "the terminal was closed")
	})
	bubble(t, "queue full of keys", func(t *testing.T) {
		s := start(t, &script{state: viewstest.Wren(t)})
		for range 9 {
			require.NoError(t, s.screen.PostEvent(tcell.NewEventKey(tcell.KeyRune, 'q', tcell.ModNone)))
		}
		assert.NoError(t, s.end())
	})
}

func TestNoStateAtAll(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := start(t, &script{})
		assert.Contains(t, s.text, "Waiting for the first readings")
		s.press("2 u?")
		s.press("q")
		assert.NoError(t, s.end())
	})
}

func TestNewScreenSaysWhatToDo(t *testing.T) {
	t.Setenv("TERM", "no-such-terminal")
	_, err := Open()
	require.Error(t, err)
	assert.ErrorContains(t, err, "--plain")
	assert.NotContains(t, err.Error(), "\n")
}

func TestChoosePalette(t *testing.T) {
	screen := simulate(t, "UTF-8", 80, 24)
	assert.Equal(t, ColourPalette(256), ChoosePalette(screen, ""))
	assert.Equal(t, MonoPalette(), ChoosePalette(screen, "1"))
	assert.Equal(t, MonoPalette(), ColourPalette(0))
	assert.NotEqual(t, ColourPalette(16), ColourPalette(256))
}
