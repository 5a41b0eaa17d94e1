package chart

import (
	"fmt"
	"image/color"
	"strings"

	"stumble/misfire/gear"
)

// role is what a colour is for. The colours themselves are in the table below: for white paper, and for a dark page.
type role struct {
	name        string
	paper, dark color.NRGBA
}

// RGBA is the colour on white paper, so that a role is painted with like any colour.
func (r role) RGBA() (red, green, blue, alpha uint32) { return r.paper.RGBA() }

// hue reads a colour written as six hexadecimal digits.
func hue(rgb uint32) color.NRGBA {
	return color.NRGBA{R: uint8(rgb >> 16), G: uint8(rgb >> 8), B: uint8(rgb), A: 0xff}
}

// The palette. The gear states' colours were searched for the greatest difference that a reader sees who is blind to
// red, green or blue, and each has a lightness of its own, so that they stay apart in print without colour. The map's
// steps run from light to dark, on a dark page from dark to light.
var (
	ink    = role{"ink", hue(0x16191d), hue(0xe8eaed)}
	muted  = role{"muted", hue(0x5a6169), hue(0xa9b0b8)}
	grid   = role{"grid", hue(0xd3d7db), hue(0x3c4249)}
	ground = role{"ground", hue(0xfefefe), hue(0x15181c)} // what shows where nothing is painted
	miss   = role{"miss", hue(0xa8101f), hue(0xff8d85)}

	onPale = role{"on-pale", hue(0x17191e), hue(0xf4f5f6)} // letters on the map's lower steps
	onDeep = role{"on-deep", hue(0xffffff), hue(0x121417)}

	park    = role{"park", hue(0x134eb7), hue(0x608ef2)}
	drive   = role{"drive", hue(0xd73032), hue(0xe7ac26)}
	reverse = role{"reverse", hue(0x6d1c3c), hue(0xe42d86)}
	moving  = role{"moving", hue(0x14a1a1), hue(0x4ff5d6)}
	unknown = role{"unknown", hue(0x757b83), hue(0x9aa1a9)}

	parkTint    = role{"park-tint", hue(0xf1f5fc), hue(0x1b2129)}
	driveTint   = role{"drive-tint", hue(0xfbe3df), hue(0x3b331c)}
	reverseTint = role{"reverse-tint", hue(0xe2cfd8), hue(0x5b2943)}
	movingTint  = role{"moving-tint", hue(0xdcf1f0), hue(0x182f2d)}
	unknownTint = role{"unknown-tint", hue(0xe9ebed), hue(0x2a2e33)}
)

var heat = []role{
	{"heat-0", hue(0xf2f5f9), hue(0x20252b)},
	{"heat-1", hue(0xf8dfb8), hue(0x5a2a24)},
	{"heat-2", hue(0xf0ae6c), hue(0x8f3a26)},
	{"heat-3", hue(0xd96f3f), hue(0xb04a22)},
	{"heat-4", hue(0xa83632), hue(0xea9047)},
	{"heat-5", hue(0x64142f), hue(0xfbd58f)},
}

// gears are the gear states in the order in which charts show them.
var gears = []gear.State{gear.ParkNeutral, gear.Reverse, gear.Drive, gear.InGear, gear.Moving, gear.Unknown}

// paints are the colours of each gear state: of its marks, and of what lies behind them. In gear, Drive or Reverse, has
// that of Drive.
var paints = [gear.States]struct{ strong, tint role }{
	gear.Unknown:     {unknown, unknownTint},
	gear.ParkNeutral: {park, parkTint},
	gear.Drive:       {drive, driveTint},
	gear.Reverse:     {reverse, reverseTint},
	gear.InGear:      {drive, driveTint},
	gear.Moving:      {moving, movingTint},
}

// strong is the colour of a gear state's marks, tint that of what lies behind them.
func strong(s gear.State) role { return paints[stateOf(s)].strong }

func tint(s gear.State) role { return paints[stateOf(s)].tint }

// stateOf is a state, Unknown for a number that is none.
func stateOf(s gear.State) gear.State {
	if int(s) >= gear.States {
		return gear.Unknown
	}
	return s
}

// palette is all roles.
func palette() []role {
	all := []role{
		ink, muted, grid, ground, miss, onPale, onDeep, park, drive, reverse, moving, unknown,
		parkTint, driveTint, reverseTint, movingTint, unknownTint,
	}
	return append(all, heat...)
}

// Variables are the declarations of a style sheet that give the charts of a page their colours, for a light or a dark
// page. A page without them shows the colours for white paper.
func Variables(dark bool) string {
	var b strings.Builder
	for _, r := range palette() {
		c := r.paper
		if dark {
			c = r.dark
		}
		fmt.Fprintf(&b, "--chart-%s:%s;", r.name, hex(c))
	}
	return b.String()
}

func hex(c color.NRGBA) string { return fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B) }
