package screen

import (
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/views"
)

// Source gives the state to show. State must be cheap and give the same pointer while nothing has changed; it
// is called from the screen's goroutine, up to thirty times a second.
type Source interface{ State() *views.State }

// Actions is what the keys do. All are called from the screen's goroutine and must not block.
type Actions interface {
	Mark(gear.State)  // the driver or helper says which gear is in
	Note(text string) // a note was typed; never empty
	StepSkip()
	StepRepeat()
	StepStop()
}

// Confirmer is what the Enter key does where a step asks to be told that something has been done. The Actions of such a
// step are a Confirmer too; it must not block.
type Confirmer interface {
	Confirm()
}

// Player is what the keys do that only a playback has. The Actions of one are a Player too; all must not block.
type Player interface {
	Pause(on bool)
	Seek(by time.Duration) // from where it is; past the ends it stops there
	Pace(faster bool)
}

// Live is the screen of a drive, live or played back.
type Live struct {
	src   Source
	act   Actions
	keys  keys
	heard heard

	state  *views.State // as last seen; nil before the first look
	missed uint16       // cylinders that missed since the bell was last asked for, a bit each
	warned bool         // the warning that is shown has rung
	second int          // of the countdown, that has rung
}

// NewLive is the screen of what a source gives, with what its keys do.
func NewLive(src Source, act Actions) *Live { return &Live{src: src, act: act} }

// Name is what it is called.
func (l *Live) Name() string { return "drive" }

// MinimumSize is what the ladder and the strip need beside each other.
func (l *Live) MinimumSize() (int, int) { return MinWidth, MinHeight }

// Look takes the newest state, if there is another one.
func (l *Live) Look() bool {
	state := l.src.State()
	if state == nil {
		state = &views.State{}
	}
	if l.state != nil && state.Version == l.state.Version {
		return false
	}
	l.state = state
	l.missed |= l.heard.news(state)
	return true
}

// Ring reports new misses of the cylinders chosen, a warning that comes up and each second of a countdown: nobody who
// drives or works looks at the screen.
func (l *Live) Ring() bool {
	warn, second := l.state.Warning() != "", l.state.Second
	rings := l.missed&l.keys.bell != 0 || warn && !l.warned || second != 0 && second != l.second
	l.missed, l.warned, l.second = 0, warn, second
	return rings
}

// Key obeys a key by what is newest.
func (l *Live) Key(k Key) Next {
	l.Look()
	return l.keys.press(k, l.state, l.act)
}

// Draw paints the drive: sentence, car, ladder, strip and foot.
func (l *Live) Draw(p *Paper) { (&painter{p, &l.keys, l.state}).drawDrive() }

// painter holds what one frame of a drive is drawn from.
type painter struct {
	*Paper
	keys  *keys
	state *views.State
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
		notes: mustKnow(p.state), blank: len(l.totals) > 0 && !p.state.Summary.Counted(),
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
