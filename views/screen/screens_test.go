package screen

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
	"stumble/views/viewstest"
)

// simulate is a screen in memory of w x h.
func simulate(t testing.TB, charset string, w, h int) tcell.SimulationScreen {
	t.Helper()
	screen := tcell.NewSimulationScreen(charset)
	require.NoError(t, screen.Init())
	t.Cleanup(screen.Fini)
	screen.SetSize(w, h)
	return screen
}

// dump writes what a screen shows: the characters, then a letter a cell for the style.
func dump(screen tcell.SimulationScreen, pal *Palette) string {
	cells, w, h := screen.GetContents()
	var text, style strings.Builder
	for y := range h {
		var line, letters strings.Builder
		for x := 0; x < w; x++ {
			cell := cells[y*w+x]
			if len(cell.Bytes) == 0 {
				line.WriteByte(' ')
			} else {
				line.Write(cell.Bytes)
			}
			letters.WriteByte(letterFor(cell.Style, pal))
			if _, _, wide := screen.Get(x, y); wide > 1 {
				x += wide - 1 // what lies behind a wide character is stale
			}
		}
		text.WriteString(strings.TrimRight(line.String(), " ") + "\n")
		style.WriteString(strings.TrimRight(letters.String(), ".") + "\n")
	}
	return text.String() + strings.Repeat("=", w) + "\n" + style.String()
}

// letterFor names a style: A accent, W warning, s strong, f faint, d r m the grounds, capital when bold or
// reversed, . plain.
func letterFor(style tcell.Style, pal *Palette) byte {
	_, ground, attributes := style.Decompose()
	accent, _, _ := pal.accent.tcell().Decompose()
	ink, _, _ := style.Decompose()
	loud := attributes&(tcell.AttrBold|tcell.AttrReverse) != 0
	switch {
	case style == pal.accent.tcell(), style == pal.accent.Bold(false).tcell() && ink == accent && accent != tcell.ColorDefault:
		return 'A'
	case style == pal.alert.tcell():
		return 'W'
	case ground != tcell.ColorDefault:
		for i, letter := range "?pdrm" {
			if _, g, _ := pal.ground[i].tcell().Decompose(); g == ground {
				if loud {
					return byte(letter - 'a' + 'A')
				}
				return byte(letter)
			}
		}
	case attributes&tcell.AttrReverse != 0:
		return 'T'
	case attributes&tcell.AttrUnderline != 0:
		return 'a'
	case loud:
		return 's'
	case attributes&tcell.AttrDim != 0:
		return 'f'
	}
	return '.'
}

// played is a stored drive on the screen.
func played(t testing.TB, paused bool) *views.State {
	s := *viewstest.Wren(t)
	s.Health.Recording = ""
	s.Playback = &views.Playback{At: 3*time.Minute + 5*time.Second, Length: 20 * time.Minute, Paused: paused, Times: 4}
	return &s
}

// proving is a guided test that fills a proof.
func proving(t *testing.T) *views.State {
	s := viewstest.Guided(t)
	step := *s.Step
	step.Proof = "Proof of cylinder\u00a02: 62\u00a0% run (in Drive 80\u00a0%, on the move 40\u00a0%)."
	s.Step = &step
	return s
}

func TestScreens(t *testing.T) {
	colour, mono := ColourPalette(256), MonoPalette()
	for _, tc := range []struct {
		name    string
		state   *views.State
		w, h    int
		charset string
		pal     *Palette
		keys    keys
		over    Screen
	}{
		{name: "80x24", state: viewstest.Wren(t), w: 80, h: 24},
		{name: "120x40", state: viewstest.Wren(t), w: 120, h: 40},
		{name: "200x60", state: viewstest.Wren(t), w: 200, h: 60},
		{name: "60x20", state: viewstest.Wren(t), w: 60, h: 20},
		{name: "1x1", state: viewstest.Wren(t), w: 1, h: 1},
		{name: "59x19-too-small", state: viewstest.Wren(t), w: 59, h: 19},
		{name: "80x24-ascii", state: viewstest.Guided(t), w: 80, h: 24, charset: "US-ASCII"},
		{name: "80x24-no-colour", state: viewstest.Wren(t), w: 80, h: 24, pal: &mono},
		{name: "80x24-waiting", state: &views.State{Title: "Larkspur Wren 1.6"}, w: 80, h: 24},
		{name: "80x24-guided", state: viewstest.Guided(t), w: 80, h: 24},
		{name: "60x20-guided", state: viewstest.Guided(t), w: 60, h: 20},
		{name: "80x24-proving", state: proving(t), w: 80, h: 24},
		{name: "80x24-no-counts", state: viewstest.Rook(t), w: 80, h: 24},
		{name: "80x24-eight-link-lost", state: viewstest.Eight(t), w: 80, h: 24},
		{name: "60x20-twelve", state: viewstest.Twelve(t), w: 60, h: 20},
		{name: "120x40-twelve", state: viewstest.Twelve(t), w: 120, h: 40},
		{name: "80x24-held-percent-bell", state: viewstest.Wren(t), w: 80, h: 24, keys: keys{unit: views.Percent, held: viewstest.Strip(100, 4, 2), back: 12, bell: 2}},
		{name: "80x24-one-in-note", state: viewstest.Wren(t), w: 80, h: 24, keys: keys{unit: views.OneIn, entry: []rune("wire touched the head")}},
		{name: "80x24-counts", state: viewstest.Wren(t), w: 80, h: 24, keys: keys{unit: views.Counted}},
		{name: "80x24-playback", state: played(t, false), w: 80, h: 24},
		{name: "120x40-playback-paused", state: played(t, true), w: 120, h: 40, keys: keys{still: true, held: viewstest.Strip(100, 4, 2)}},
		{name: "80x24-help", state: viewstest.Wren(t), w: 80, h: 24, over: newHelp(helpText)},
		{name: "120x40-help", state: viewstest.Wren(t), w: 120, h: 40, over: newHelp(helpText)},
		{name: "60x20-help-turned", state: viewstest.Wren(t), w: 60, h: 20, over: &help{text: helpText, page: 999}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if tc.charset == "" {
				tc.charset = "UTF-8"
			}
			if tc.pal == nil {
				tc.pal = &colour
			}
			screen := simulate(t, tc.charset, tc.w, tc.h)
			gl := glyphsFor(screen)
			var shown Screen = &Live{keys: tc.keys, state: tc.state}
			if tc.over != nil {
				shown = tc.over
			}
			draw(paperOf(screen, tc.pal, &gl), shown)
			screen.Show()
			viewstest.RequireGolden(t, tc.name+".txt", dump(screen, tc.pal))
		})
	}
}

// TestAccentIsTheWorstCellAlone reads the style dump: the accent lies in one rectangle, that of cylinder 2 in D.
func TestAccentIsTheWorstCellAlone(t *testing.T) {
	pal := ColourPalette(256)
	screen := simulate(t, "UTF-8", 80, 24)
	gl := glyphsFor(screen)
	state := viewstest.Wren(t)
	draw(paperOf(screen, &pal, &gl), &Live{state: state})
	l := ladderOf(state)
	at := arrange(needs{w: 80, h: 24, verdict: 2, rungs: 4, banks: 1, brackets: 2, gears: 4, notes: 1})
	cell := cellRect(canvas{screen, at.ladder}, at, 1, rungLines(l.rungs, at.headings(), at)[1])
	accent, _, _ := pal.accent.tcell().Decompose()
	marked := 0
	for y := range 24 {
		for x := range 80 {
			_, style, _ := screen.Get(x, y)
			if ink, _, _ := style.Decompose(); ink != accent {
				continue
			}
			marked++
			assert.True(t, x >= cell.x && x < cell.x+cell.w && y >= cell.y && y < cell.y+cell.h, "accent at %d, %d", x, y)
		}
	}
	assert.Greater(t, marked, 10)
}

// Without colour nothing is coloured, and without Unicode every byte is ASCII and none is the library's "?" for a
// character that it could not show.
func TestPlainTerminals(t *testing.T) {
	mono := MonoPalette()
	for _, state := range []*views.State{viewstest.Guided(t), viewstest.Eight(t), viewstest.Rook(t), {}} {
		screen := simulate(t, "US-ASCII", 120, 40)
		gl := glyphsFor(screen)
		draw(paperOf(screen, &mono, &gl), &Live{state: state})
		screen.Show()
		cells, _, _ := screen.GetContents()
		for _, cell := range cells {
			ink, ground, _ := cell.Style.Decompose()
			assert.Equal(t, [2]tcell.Color{}, [2]tcell.Color{ink, ground})
			require.Len(t, cell.Bytes, 1)
			require.Equal(t, string(cell.Runes), string(cell.Bytes), "drawn in ASCII, not fallen back to it")
		}
	}
}

// TestAnySizeAnyState draws what may go wrong: every size up to a large one, in every kind of state.
func TestAnySizeAnyState(t *testing.T) {
	pal := ColourPalette(16)
	states := []*views.State{{}, viewstest.Wren(t), viewstest.Guided(t), viewstest.Rook(t), viewstest.Eight(t), viewstest.Twelve(t), viewstest.Burst(t), odd(t)}
	for h := 0; h < 64; h += 7 {
		for w := 0; w < 210; w += 23 {
			screen := tcell.NewSimulationScreen("UTF-8")
			require.NoError(t, screen.Init())
			screen.SetSize(w, h)
			gl := glyphsFor(screen)
			for i, state := range states {
				k := keys{unit: views.Unit(i) % views.Units, back: h, entry: []rune(strings.Repeat("日", w))}
				if i%2 == 0 {
					k.entry, k.held = nil, state.Strip
				}
				draw(paperOf(screen, &pal, &gl), &Live{keys: k, state: state})
				draw(paperOf(screen, &pal, &gl), &help{text: helpText, page: w})
			}
			screen.Fini()
		}
	}
}

// odd is a summary that no tally should make.
func odd(t testing.TB) *views.State {
	s := viewstest.Wren(t)
	sum := s.Summary
	sum.Engine.Cylinders, sum.Engine.Pairs = 40, [][2]int{{1, 99}}
	sum.ByGear = append(sum.ByGear, viewstest.CellOf(77, gear.State(99), gear.Origin(9), 5, 3), misfire.Cell{})
	sum.Verdict.Cylinders, sum.Verdict.WorseIn = []int{-4, 77}, gear.State(99)
	s.Headline = strings.Repeat("日本語 and much more to say, ", 40)
	s.Strip[3].Gear = gear.State(99)
	s.Strip[len(s.Strip)-1].Gear = gear.State(99)
	s.Strip[5].RPM = math.Inf(1)
	s.Step = &views.Step{Left: time.Hour, Length: time.Second, Name: strings.Repeat("n", 300), Done: math.NaN(), Needed: math.Inf(1)}
	s.Health = views.Health{PerSecond: math.Inf(1), Link: "lost\x1b"}
	return s
}

func BenchmarkFullDraw200x60(b *testing.B) {
	pal := ColourPalette(256)
	screen := simulate(b, "UTF-8", 200, 60)
	gl := glyphsFor(screen)
	states := [2]*views.State{viewstest.Wren(b), viewstest.Wren(b)}
	states[1].Strip = states[1].Strip[:len(states[1].Strip)-1]
	k := keys{}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		draw(paperOf(screen, &pal, &gl), &Live{keys: k, state: states[i%2]})
		screen.Show()
	}
}

// BenchmarkIdleTick is a tick of the frame clock while nothing changed; it fails if it draws.
func BenchmarkIdleTick(b *testing.B) {
	drawn := 0
	l := &loop{
		terminal: simulate(b, "UTF-8", 200, 60), screens: []Screen{NewLive(&script{state: viewstest.Wren(b)}, nil)}, dirty: true,
		opts: Options{Palette: ColourPalette(256), shown: func() { drawn++ }},
	}
	l.glyphs = glyphsFor(l.terminal)
	l.tick()
	b.ReportAllocs()
	for b.Loop() {
		l.tick()
	}
	require.Equal(b, 1, drawn)
}

// The words kept off the screen are those of a statistician; they belong in the method notes.
func TestNoStatisticiansWords(t *testing.T) {
	gl := drawnGlyphs()
	all := strings.ToLower(strings.Join(helpText(&gl), " "))
	for _, word := range []string{"p-value", "significant", "sigma"} {
		assert.NotContains(t, all, word)
	}
}

// Below what a screen needs, in either direction, one mark asks for it.
func TestMinimumSize(t *testing.T) {
	mono := MonoPalette()
	for size, fits := range map[[2]int]bool{{59, 20}: false, {60, 19}: false, {60, 20}: true} {
		screen := simulate(t, "UTF-8", size[0], size[1])
		gl := glyphsFor(screen)
		draw(paperOf(screen, &mono, &gl), &Live{state: viewstest.Wren(t)})
		screen.Show()
		assert.Equal(t, !fits, strings.Contains(dump(screen, &mono), "window too small: 60 x 20 wanted"), "%v", size)
	}
}
