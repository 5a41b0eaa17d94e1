package screen

import (
	"github.com/gdamore/tcell/v2"

	"stumble/misfire/gear"
)

// Palette is the styles of the screen by role. No role is told by colour alone: the worst cell has a marker, gear
// states have letters and patterns, warnings are reversed and in words.
type Palette struct {
	plain  tcell.Style
	strong tcell.Style // what to read first
	faint  tcell.Style // rulers, captions
	accent tcell.Style // the worst cell, and nothing else
	alert  tcell.Style
	ground [gearStates]tcell.Style // the strip's background by gear state
}

const gearStates = int(gear.Moving) + 1

// MonoPalette has no colour at all: for NO_COLOR and for terminals without.
func MonoPalette() Palette {
	base := tcell.StyleDefault
	return Palette{
		plain:  base,
		strong: base.Bold(true),
		faint:  base.Dim(true),
		accent: base.Bold(true).Underline(true),
		alert:  base.Bold(true).Reverse(true),
	}
}

// ColourPalette is for a terminal of so many colours. The grounds differ in lightness and lie on the line from
// blue to yellow, which the common colour weaknesses leave apart; with fewer than 8 colours it is MonoPalette.
func ColourPalette(colours int) Palette {
	p := MonoPalette()
	accent, ink := tcell.ColorYellow, tcell.ColorWhite
	drive, reverse, moving := tcell.ColorNavy, tcell.ColorOlive, tcell.ColorGray
	switch {
	case colours < 8:
		return p
	case colours >= 256:
		accent, ink = tcell.PaletteColor(208), tcell.PaletteColor(255)
		drive, reverse, moving = tcell.PaletteColor(17), tcell.PaletteColor(94), tcell.PaletteColor(240)
	}
	p.accent = tcell.StyleDefault.Foreground(accent).Bold(true)
	on := tcell.StyleDefault.Foreground(ink)
	p.ground[gear.Drive] = on.Background(drive)
	p.ground[gear.Reverse] = on.Background(reverse)
	p.ground[gear.Moving] = on.Background(moving)
	return p
}

// groundOf is the ground of a gear state, whatever its number.
func (p *Palette) groundOf(s gear.State) tcell.Style {
	if int(s) < gearStates {
		return p.ground[s]
	}
	return p.plain
}
