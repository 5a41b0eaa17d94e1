package screen

import (
	"fmt"

	"github.com/gdamore/tcell/v2"
	_ "github.com/gdamore/tcell/v2/encoding" // terminals whose character set is not UTF-8
)

// Open takes over the terminal. The error says what is wrong with it and that --plain does without. Whoever
// gets a screen hands it to Run, which gives the terminal back.
func Open() (tcell.Screen, error) {
	screen, err := tcell.NewScreen()
	if err == nil {
		err = screen.Init()
	}
	if err != nil {
		return nil, fmt.Errorf("no screen on this terminal (%w): use --plain, or check TERM and LANG", err)
	}
	return screen, nil
}

// ChoosePalette is the palette for a screen. noColour is the value of the environment's NO_COLOR: anything but
// empty means no colour (no-color.org).
func ChoosePalette(screen tcell.Screen, noColour string) Palette {
	if noColour != "" {
		return MonoPalette()
	}
	return ColourPalette(screen.Colors())
}
