package screen

import (
	"stumble/misfire/gear"
)

// Palette is the styles of the screen by role. No role is told by colour alone: the worst cell has a marker, gear
// states have letters and patterns, warnings are reversed and in words.
type Palette struct {
	plain  style
	strong style // what to read first
	faint  style // rulers, captions
	accent style // the worst cell, and nothing else
	alert  style
	ground [gear.States]style // the strip's background by gear state
}

// MonoPalette has no colour at all: for NO_COLOR and for terminals without.
func MonoPalette() Palette {
	return Palette{
		strong: style{bold: true},
		faint:  style{faint: true},
		accent: style{bold: true, underline: true},
		alert:  style{bold: true, reverse: true},
	}
}

// Colours by their places among the terminal's; those from 16 on are of the terminals that have 256.
const (
	navy   colour = 1 + 4
	olive  colour = 1 + 3
	grey   colour = 1 + 8
	yellow colour = 1 + 11
	white  colour = 1 + 15

	darkBlue  colour = 1 + 17
	brown     colour = 1 + 94
	orange    colour = 1 + 208
	darkGrey  colour = 1 + 240
	nearWhite colour = 1 + 255
)

// ColourPalette is for a terminal of so many colours. The grounds differ in lightness and lie on the line from
// blue to yellow, which the common colour weaknesses leave apart; with fewer than 8 colours it is MonoPalette.
func ColourPalette(colours int) Palette {
	p := MonoPalette()
	accent, ink := yellow, white
	drive, reverse, moving := navy, olive, grey
	switch {
	case colours < 8:
		return p
	case colours >= 256:
		accent, ink = orange, nearWhite
		drive, reverse, moving = darkBlue, brown, darkGrey
	}
	p.accent = style{ink: accent, bold: true}
	p.ground[gear.Drive] = style{ink: ink, ground: drive}
	p.ground[gear.InGear] = p.ground[gear.Drive]
	p.ground[gear.Reverse] = style{ink: ink, ground: reverse}
	p.ground[gear.Moving] = style{ink: ink, ground: moving}
	return p
}

// ChoosePalette is the palette for a terminal. noColour is the value of the environment's NO_COLOR: anything but
// empty means no colour (no-color.org).
func ChoosePalette(t Terminal, noColour string) Palette {
	if noColour != "" {
		return MonoPalette()
	}
	return ColourPalette(t.Colors())
}

// groundOf is the ground of a gear state, whatever its number.
func (p *Palette) groundOf(s gear.State) style {
	if int(s) < gear.States {
		return p.ground[s]
	}
	return p.plain
}
