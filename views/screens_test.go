package views

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files")

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
	accent, _, _ := pal.accent.Decompose()
	ink, _, _ := style.Decompose()
	loud := attributes&(tcell.AttrBold|tcell.AttrReverse) != 0
	switch {
	case style == pal.accent, style == pal.accent.Bold(false) && ink == accent && accent != tcell.ColorDefault:
		return 'A'
	case style == pal.alert:
		return 'W'
	case ground != tcell.ColorDefault:
		for i, letter := range "?pdrm" {
			if _, g, _ := pal.ground[i].Decompose(); g == ground {
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

// requireGolden compares with a file of testdata, or rewrites it with -update.
func requireGolden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("..", "testdata", "screens", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update to make it")
	require.Equal(t, string(want), got)
}

func TestScreens(t *testing.T) {
	colour, mono := ColourPalette(256), MonoPalette()
	for _, tc := range []struct {
		name    string
		state   *State
		w, h    int
		charset string
		pal     *Palette
		keys    keys
	}{
		{name: "80x24", state: wren(t), w: 80, h: 24},
		{name: "120x40", state: wren(t), w: 120, h: 40},
		{name: "200x60", state: wren(t), w: 200, h: 60},
		{name: "60x20", state: wren(t), w: 60, h: 20},
		{name: "1x1", state: wren(t), w: 1, h: 1},
		{name: "59x19-too-small", state: wren(t), w: 59, h: 19},
		{name: "80x24-ascii", state: guided(t), w: 80, h: 24, charset: "US-ASCII"},
		{name: "80x24-no-colour", state: wren(t), w: 80, h: 24, pal: &mono},
		{name: "80x24-waiting", state: &State{Title: "Larkspur Wren 1.6"}, w: 80, h: 24},
		{name: "80x24-guided", state: guided(t), w: 80, h: 24},
		{name: "60x20-guided", state: guided(t), w: 60, h: 20},
		{name: "80x24-no-counts", state: rook(t), w: 80, h: 24},
		{name: "80x24-eight-link-lost", state: eight(t), w: 80, h: 24},
		{name: "60x20-twelve", state: twelve(t), w: 60, h: 20},
		{name: "120x40-twelve", state: twelve(t), w: 120, h: 40},
		{name: "80x24-held-percent-bell", state: wren(t), w: 80, h: 24, keys: keys{unit: percent, held: strip(100, 4, 2), back: 12, bell: 2}},
		{name: "80x24-one-in-note", state: wren(t), w: 80, h: 24, keys: keys{unit: oneIn, entry: []rune("wire touched the head")}},
		{name: "80x24-counts", state: wren(t), w: 80, h: 24, keys: keys{unit: counted}},
		{name: "80x24-help", state: wren(t), w: 80, h: 24, keys: keys{help: true}},
		{name: "120x40-help", state: wren(t), w: 120, h: 40, keys: keys{help: true}},
		{name: "60x20-help-turned", state: wren(t), w: 60, h: 20, keys: keys{help: true, page: 999}},
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
			drawFrame(screen, tc.pal, &gl, &tc.keys, tc.state)
			screen.Show()
			requireGolden(t, tc.name+".txt", dump(screen, tc.pal))
		})
	}
}
