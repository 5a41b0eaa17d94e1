package screen

import (
	"stumble/misfire/gear"
)

// glyphs are the drawing characters, each one cell wide.
type glyphs struct {
	surely, likely, maybe   rune // bar: below the lower limit, up to the rate, up to the upper limit
	decade                  rune // a power of ten where the bar does not reach
	worst, rising           rune
	across, down            rune // lines and corners
	fromUp, toDown          rune // a line from above turns right; a line from the left turns down
	fromUpLeft, rightToDown rune // a line from above turns left; a line from the right turns down
	crossing, loadAt        rune
	done, left              rune // time bar
	mark, more              rune // a mark in the strip; text that was cut
	degree                  string
	atLeast, nearly         string
	pattern                 [gear.States]rune // the strip's empty lanes by gear state
	unjudged                rune              // the controller may not have judged this second
}

func drawnGlyphs() glyphs {
	return glyphs{
		surely: '█', likely: '▓', maybe: '░', decade: '·',
		worst: '▶', rising: '▲',
		across: '─', down: '│',
		fromUp: '└', toDown: '┐', fromUpLeft: '┘', rightToDown: '┌',
		crossing: '┼', loadAt: '┊',
		done: '█', left: '░',
		mark: '◀', more: '…',
		degree: "°C", atLeast: "≥", nearly: "~",
		pattern:  [gear.States]rune{gear.Unknown: '?', gear.ParkNeutral: ' ', gear.InGear: '░', gear.Drive: '░', gear.Reverse: '▒', gear.Moving: '·'},
		unjudged: '×',
	}
}

func typedGlyphs() glyphs {
	return glyphs{
		surely: '#', likely: '=', maybe: '-', decade: '.',
		worst: '>', rising: '^',
		across: '-', down: '|',
		fromUp: '+', toDown: '+', fromUpLeft: '+', rightToDown: '+',
		crossing: '+', loadAt: ':',
		done: '#', left: '-',
		mark: '<', more: '~',
		degree: "C", atLeast: ">=", nearly: "~",
		pattern:  [gear.States]rune{gear.Unknown: '?', gear.ParkNeutral: ' ', gear.InGear: ':', gear.Drive: ':', gear.Reverse: '%', gear.Moving: '.'},
		unjudged: 'x',
	}
}

// glyphsFor takes the drawn characters where the terminal's character set holds them, else typed ones.
func glyphsFor(t Terminal) glyphs {
	if draws(t, "█▓░▒▶▲─│└┐┼┊◀…·×≥°") {
		return drawnGlyphs()
	}
	return typedGlyphs()
}

// patternOf is the pattern of a gear state, whatever its number.
func (g *glyphs) patternOf(s gear.State) rune {
	if int(s) < gear.States {
		return g.pattern[s]
	}
	return '?'
}

// letters are those of the gear states in the strip. G is in gear: Drive or Reverse.
var letters = [gear.States]rune{
	gear.Unknown: '?', gear.ParkNeutral: 'P', gear.Drive: 'D', gear.Reverse: 'R', gear.InGear: 'G', gear.Moving: 'm',
}

// letterOf is the letter of a gear state in the strip.
func letterOf(s gear.State) rune {
	if int(s) < gear.States {
		return letters[s]
	}
	return '?'
}
