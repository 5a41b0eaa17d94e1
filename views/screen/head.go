package screen

import (
	"slices"
	"strings"

	"stumble/misfire"
	"stumble/views"
	"stumble/views/say"
	"stumble/views/wrap"
)

// verdictLines is the sentence on two lines, on three where it would not fit and the screen is high enough; two
// are kept for a shorter one too, so that nothing below it jumps.
func (p *painter) verdictLines() []string {
	const usual, most = 2, 3
	w := p.canvas.area.w
	lines := wrap.Text(p.sentence(), w)
	if len(lines) > most {
		rest := strings.Join(lines[most-1:], " ")
		lines = append(lines[:most-1], wrap.Cut(rest, w, p.gl.more))
	}
	for len(lines) < usual {
		lines = append(lines, "")
	}
	return lines
}

func (p *painter) sentence() string {
	switch s := p.state.Summary; {
	case s == nil:
		return "Waiting for the first readings of the car."
	case p.state.Headline != "":
		return p.state.Headline
	default:
		return say.English().Verdict(s)
	}
}

// drawCar says what the car is doing now.
func (p *painter) drawCar(at rect) {
	cv := p.canvas.at(at)
	s := p.state.Summary
	if s == nil {
		cv.text(0, 0, p.state.Title, p.pal.plain)
		return
	}
	cv.line(0, p.carFields(s), 2)
}

func (p *painter) carFields(s *misfire.Summary) []field {
	live := s.Live
	mil := p.pal.plain
	if live.MIL == misfire.MILFlashing {
		mil = p.pal.alert
	}
	engine := field{words: []string{say.Rounded(live.RPM) + " rpm"}, style: p.pal.strong}
	if !live.Running {
		engine.words[0] = "engine not running"
	}
	elapsed := views.Minutes(s.Now.Sub(s.Start))
	return []field{
		{words: views.GearWords(live.Gear), style: p.pal.strong},
		engine,
		{words: []string{"load " + say.Rounded(live.Load) + " %"}},
		{words: []string{"speed " + say.Rounded(live.Speed) + " km/h", say.Rounded(live.Speed) + " km/h"}, rank: 3},
		{words: []string{"coolant " + say.Rounded(live.Coolant) + " " + p.gl.degree, say.Rounded(live.Coolant) + " " + p.gl.degree}, rank: 4},
		{words: []string{"lamp (MIL) " + live.MIL.String(), "MIL " + live.MIL.String()}, rank: 1, style: mil},
		{words: []string{elapsed + " elapsed", elapsed}, rank: 2},
		{words: views.Cadence(s.Refresh), rank: 5},
	}
}

// drawWhole shows the whole engine's percentages against their limits.
func (p *painter) drawWhole(at rect) {
	s := p.state.Summary
	if at.empty() || s == nil {
		return
	}
	p.canvas.at(at).line(0, p.wholeFields(s.Whole), 2)
}

func (p *painter) wholeFields(w misfire.Whole) []field {
	return []field{{words: []string{"Whole engine", ""}}, p.blockField(w.Catalyst), p.blockField(w.Emission)}
}

// blockField is one percentage, emphasised while it is over its limit.
func (p *painter) blockField(b misfire.Block) field {
	over, style := "", p.pal.plain
	if views.IsOver(b) {
		over, style = " OVER", p.pal.strong
	}
	turns := views.Short(b.Revolutions) + " rev: "
	if b.Revolutions >= 1000 {
		turns = say.Grouped(b.Revolutions) + " rev: "
	}
	limit := views.Digits(b.Limit) + " %"
	figures := []string{"last " + views.Share(b.Last), "worst " + views.Share(b.Worst), "limit " + limit}
	usual := ""
	if !b.Reported {
		usual = " (usual)"
	}
	long := turns + strings.Join(figures, ", ") + " (" + views.LimitWords(b) + ")" + over
	short := turns + views.Share(b.Last) + " of " + limit
	return field{
		words: []string{long, turns + strings.Join(figures, " ") + usual + over, short + usual + over, short + over},
		rank:  1, style: style,
	}
}

// aside is one line of the notes below the ladder.
type aside struct {
	text  string
	style style
}

// drawAsides fills what a tall screen leaves below the ladder: marks, what a reader must know, what was left out.
func (p *painter) drawAsides(at rect) {
	if at.empty() || p.state.Summary == nil {
		return
	}
	cv := p.canvas.at(at)
	for i, a := range p.asides(at.w, at.h) {
		cv.text(0, i, wrap.Cut(a.text, at.w, p.gl.more), a.style)
	}
}

// asides are the lines for a rectangle of w x h. A text that no longer fits is left out whole.
func (p *painter) asides(w, h int) []aside {
	var lines []aside
	s := p.state.Summary
	for _, text := range slices.Concat(say.English().Notes(s), views.LeftOut(s), views.AverageWords(s)) {
		broken := wrap.Text(text, w-2)
		if len(lines)+len(broken) > h {
			continue
		}
		for i, line := range broken {
			if i > 0 {
				line = "  " + line
			}
			lines = append(lines, aside{line, p.pal.plain})
		}
	}
	marks := p.state.Notes
	marks = marks[max(len(marks)-max(h-len(lines)-2, 0), 0):]
	if len(marks) > 0 {
		lines = append(lines, aside{}, aside{"last marks", p.pal.faint})
	}
	for _, m := range marks {
		lines = append(lines, aside{views.Minutes(m.At.Sub(p.state.Began())) + " " + m.Text, p.pal.plain})
	}
	return lines
}

// mustKnow is how many notes the summary has for its reader.
func mustKnow(s *views.State) int {
	if s.Summary == nil {
		return 0
	}
	return len(s.Summary.Notes)
}
