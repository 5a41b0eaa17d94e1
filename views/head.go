package views

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/gdamore/tcell/v2"

	"stumble/misfire"
	"stumble/views/say"
)

// verdictLines is the sentence on two lines, on three where it would not fit and the screen is high enough; two
// are kept for a shorter one too, so that nothing below it jumps.
func (p *painter) verdictLines() []string {
	const usual, most = 2, 3
	w := p.canvas.area.w
	lines := wrap(p.sentence(), w)
	if len(lines) > most {
		rest := strings.Join(lines[most-1:], " ")
		lines = append(lines[:most-1], cut(rest, w, p.gl.more))
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
	elapsed := minutes(s.Now.Sub(s.Start))
	return []field{
		{words: gearWords(live.Gear), style: p.pal.strong},
		engine,
		{words: []string{"load " + say.Rounded(live.Load) + " %"}},
		{words: []string{"speed " + say.Rounded(live.Speed) + " km/h", say.Rounded(live.Speed) + " km/h"}, rank: 3},
		{words: []string{"coolant " + say.Rounded(live.Coolant) + " " + p.gl.degree, say.Rounded(live.Coolant) + " " + p.gl.degree}, rank: 4},
		{words: []string{"lamp (MIL) " + live.MIL.String(), "MIL " + live.MIL.String()}, rank: 1, style: mil},
		{words: []string{elapsed + " elapsed", elapsed}, rank: 2},
		{words: cadence(s.Refresh), rank: 5},
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
	if isOver(b) {
		over, style = " OVER", p.pal.strong
	}
	turns := short(b.Revolutions) + " rev: "
	if b.Revolutions >= 1000 {
		turns = say.Grouped(b.Revolutions) + " rev: "
	}
	limit := digits(b.Limit) + " %"
	figures := []string{"last " + share(b.Last), "worst " + share(b.Worst), "limit " + limit}
	usual := ""
	if !b.Reported {
		usual = " (usual)"
	}
	long := turns + strings.Join(figures, ", ") + " (" + limitWords(b) + ")" + over
	short := turns + share(b.Last) + " of " + limit
	return field{
		words: []string{long, turns + strings.Join(figures, " ") + usual + over, short + usual + over, short + over},
		rank:  1, style: style,
	}
}

// share writes a percentage, "-" before it is known.
func share(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return digits(v) + " %"
}

// aside is one line of the notes below the ladder.
type aside struct {
	text  string
	style tcell.Style
}

// drawAsides fills what a tall screen leaves below the ladder: marks, what a reader must know, what was left out.
func (p *painter) drawAsides(at rect) {
	if at.empty() || p.state.Summary == nil {
		return
	}
	cv := p.canvas.at(at)
	for i, a := range p.asides(at.w, at.h) {
		cv.text(0, i, cut(a.text, at.w, p.gl.more), a.style)
	}
}

// asides are the lines for a rectangle of w x h. A text that no longer fits is left out whole.
func (p *painter) asides(w, h int) []aside {
	var lines []aside
	s := p.state.Summary
	for _, text := range slices.Concat(say.English().Notes(s), leftOut(s), averageWords(s)) {
		broken := wrap(text, w-2)
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
		lines = append(lines, aside{minutes(m.At.Sub(p.state.start())) + " " + m.Text, p.pal.plain})
	}
	return lines
}

// leftOut says which running counts for no condition.
func leftOut(s *misfire.Summary) []string {
	var lines []string
	if s.Unknown.Running > 0 || s.Unknown.Misses > 0 {
		lines = append(lines, minutes(s.Unknown.Running)+" of running and "+say.Plural(s.Unknown.Misses, "miss", "misses")+
			" could not be laid to any condition.")
	}
	if s.Unmonitored > 0 {
		lines = append(lines, minutes(s.Unmonitored)+" of running in which the controller may not judge (fuel cut and the like) dilute no rate.")
	}
	return lines
}

// averageWords says the car's own averages, if it has any.
func averageWords(s *misfire.Summary) []string {
	if len(s.Averages) == 0 {
		return nil
	}
	words := make([]string, len(s.Averages))
	for i, a := range s.Averages {
		words[i] = strconv.Itoa(a.Cylinder) + "=" + digits(a.Value)
	}
	return []string{"Misses a driving cycle, the car's own average of ten, by cylinder: " + strings.Join(words, ", ") + "."}
}
