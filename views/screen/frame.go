package screen

import (
	"fmt"
	"stumble/views"
	"stumble/views/wrap"

	"github.com/gdamore/tcell/v2"
)

// painter holds what one frame is drawn from.
type painter struct {
	canvas canvas
	pal    *Palette
	gl     *glyphs
	keys   *keys
	state  *views.State
}

// drawFrame paints the whole screen; the caller shows it. The size is asked for anew each time, since the library
// changes it from a goroutine of its own.
func drawFrame(screen tcell.Screen, pal *Palette, gl *glyphs, keys *keys, state *views.State) {
	w, h := screen.Size()
	screen.HideCursor()
	screen.Fill(' ', pal.plain)
	p := &painter{canvas{screen, rect{0, 0, w, h}}, pal, gl, keys, state}
	switch {
	case (needs{w: w, h: h}).small():
		p.drawTooSmall()
	case keys.help:
		p.drawHelp()
	default:
		p.drawDrive()
	}
}

// drawTooSmall is the one message of a window below the minimum.
func (p *painter) drawTooSmall() {
	area := p.canvas.area
	words := fmt.Sprintf("window too small: %d x %d wanted", MinWidth, MinHeight)
	if area.w < wrap.Width(words) {
		words = "make larger"
	}
	p.canvas.text(0, area.h/2, wrap.Cut(words, area.w, p.gl.more), p.pal.strong)
}

// drawDrive paints the drive: sentence, car, ladder, strip and foot.
func (p *painter) drawDrive() {
	l := ladderOf(p.state)
	verdict := p.verdictLines()
	step := p.stepLines()
	at := arrange(needs{
		w: p.canvas.area.w, h: p.canvas.area.h,
		verdict: len(verdict), step: len(step), alert: p.state.Warning() != "",
		rungs: len(l.rungs), banks: l.banks(), brackets: l.columns, gears: len(l.gears),
		notes: mustKnow(p.state), blank: len(l.totals) > 0 && !views.ReportsCounts(p.state.Summary),
	})
	for i, line := range verdict {
		p.canvas.at(at.verdict).text(0, i, line, p.pal.strong)
	}
	p.drawCar(at.car)
	p.drawWhole(at.whole)
	p.drawLadder(&l, at)
	p.drawStrip(at)
	p.drawAsides(at.asides)
	p.drawStep(at.step, step)
	p.drawAlert(at.alert)
	p.drawHealth(at.health)
	p.drawKeys(at.keys)
}
