package screen

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"stumble/views/say"
	"time"

	"stumble/views"
	"stumble/views/wrap"
)

// stepLine is one line of the running test step; the first is drawn with its bar.
type stepLine struct {
	text    string
	caution bool
}

// stepLines are the lines of the test step: name and time, the instruction, the cautions.
func (p *painter) stepLines() []stepLine {
	st := p.state.Step
	if st == nil {
		return nil
	}
	w := p.canvas.area.w
	lines := []stepLine{{text: st.Name}}
	for _, line := range wrap.Text(st.Instruction, w) {
		lines = append(lines, stepLine{text: line})
	}
	if st.Proof != "" {
		for _, line := range wrap.Text(st.Proof, w) {
			lines = append(lines, stepLine{text: line})
		}
	}
	for _, caution := range st.Cautions {
		for _, line := range wrap.Text("Caution: "+caution, w) {
			lines = append(lines, stepLine{text: line, caution: true})
		}
	}
	return lines
}

func (p *painter) drawStep(at rect, lines []stepLine) {
	if at.empty() {
		return
	}
	cv := p.canvas.at(at)
	p.drawStepHead(cv)
	for i := 1; i < len(lines) && i < at.h; i++ {
		style := p.pal.plain
		if lines[i].caution {
			style = p.pal.strong
		}
		text := lines[i].text
		if i == at.h-1 && i < len(lines)-1 {
			text = wrap.Cut(text+" "+lines[i+1].text, at.w, p.gl.more)
		}
		cv.text(0, i, text, style)
	}
}

// drawStepHead says which step runs and how far it is, in words and as a bar in the room that is left.
func (p *painter) drawStepHead(cv canvas) {
	st := p.state.Step
	head := fmt.Sprintf("Step %d of %d: %s", st.Number, st.Of, st.Name)
	far := views.Minutes(st.Left) + " left"
	if st.Needed > 0 {
		far = say.Grouped(st.Done) + " of " + say.Grouped(st.Needed) + " firings, " + far
	}
	head = wrap.Cut(head, cv.area.w-wrap.Width(far)-1, p.gl.more)
	end := cv.text(0, 0, head, p.pal.strong) + 2
	from := cv.area.w - wrap.Width(far)
	cv.text(from, 0, far, p.pal.strong)
	if room := min(from-2-end, 40); st.Length > 0 && room >= 6 {
		done := int(math.Round(float64(room) * (1 - float64(st.Left)/float64(st.Length))))
		done = min(max(done, 0), room)
		cv.run(from-2-room, 0, done, p.gl.done, p.pal.plain)
		cv.run(from-2-room+done, 0, room-done, p.gl.left, p.pal.faint)
	}
}

// drawAlert is the loud line: reversed over the whole width.
func (p *painter) drawAlert(at rect) {
	if at.empty() {
		return
	}
	cv := p.canvas.at(at)
	cv.run(0, 0, at.w, ' ', p.pal.alert)
	words := wrap.Cut(p.state.Warning(), at.w-2, p.gl.more)
	cv.text((at.w-wrap.Width(words))/2, 0, words, p.pal.alert)
}

// drawHealth says how the adapter is doing and how old each cylinder's count is.
func (p *painter) drawHealth(at rect) {
	p.canvas.at(at).line(0, p.healthFields(), 2)
}

func (p *painter) healthFields() []field {
	h := p.state.Health
	var fields []field
	add := func(rank int, style style, words ...string) {
		if words[0] != "" {
			fields = append(fields, field{words: words, rank: rank, style: style})
		}
	}
	if h.Link != "" {
		add(0, p.pal.alert, " LINK "+strings.ToUpper(h.Link)+" ")
	}
	add(1, p.pal.plain, h.Recording, "")
	if pb := p.state.Playback; pb != nil {
		add(1, p.pal.strong, playbackWords(pb), playbackPlace(pb))
	}
	rate := "- exchanges/s"
	if !math.IsNaN(h.PerSecond) {
		rate = views.Digits(h.PerSecond) + " exchanges/s"
	}
	add(4, p.pal.plain, rate, strings.Replace(rate, "exchanges", "exch.", 1))
	if s := p.state.Summary; s != nil {
		all, oldest := views.Ages(s)
		add(3, p.pal.plain, all, oldest)
	}
	mark, fresh := p.lastMark()
	if fresh {
		add(2, p.pal.strong, mark, "")
	} else {
		add(5, p.pal.plain, mark, "")
	}
	add(6, p.pal.faint, p.state.Title, "")
	add(7, p.pal.faint, h.Adapter, "")
	add(8, p.pal.faint, h.Protocol, "")
	return fields
}

// lastMark is the newest mark; it is fresh for some seconds, so that who pressed a key sees that it was heard.
func (p *painter) lastMark() (words string, fresh bool) {
	const freshFor = 10 * time.Second
	n := len(p.state.Notes)
	if n == 0 {
		return "", false
	}
	m := p.state.Notes[n-1]
	words = "mark " + views.Minutes(m.At.Sub(p.state.Began())) + " " + wrap.Cut(m.Text, 24, p.gl.more)
	return words, p.state.Summary != nil && p.state.Summary.Now.Sub(m.At) < freshFor
}

// drawKeys shows which keys do what, or the line for a note while one is typed.
func (p *painter) drawKeys(at rect) {
	cv := p.canvas.at(at)
	if p.keys.entry != nil {
		p.drawEntry(cv)
		return
	}
	cv.line(0, p.keyFields(), 2)
}

func (p *painter) drawEntry(cv canvas) {
	const label, hint = "note: ", "  Enter keeps it, Esc drops it"
	x := cv.text(0, 0, label, p.pal.strong)
	room := cv.area.w - len(label) - len(hint) - 1
	x = cv.text(x, 0, wrap.Tail(string(p.keys.entry), room), p.pal.plain)
	cv.screen.ShowCursor(cv.area.x+x, cv.area.y)
	cv.text(x+1, 0, hint, p.pal.faint)
}

func (p *painter) keyFields() []field {
	var fields []field
	add := func(rank int, words ...string) {
		fields = append(fields, field{words: words, rank: rank, style: p.pal.plain})
	}
	if st := p.state.Step; st != nil {
		if st.Enter != "" {
			add(0, "Enter "+st.Enter)
		}
		add(1, "s skip  b again  x stop")
	}
	if p.state.Playback != nil {
		add(1, p.playFields()...)
		add(2, "left right 10 s, < > 1 min", "left right 10 s", "")
		add(3, "- + speed", "")
	} else {
		add(2, "p n d r mark gear", "p n d r gear", "p n d r")
		add(3, "m note")
	}
	bell := "1-9 bell"
	if on := p.keys.bells(); len(on) > 0 {
		words := make([]string, len(on))
		for i, c := range on {
			words[i] = strconv.Itoa(c)
		}
		bell = "bell on " + strings.Join(words, ",")
	}
	add(6, bell, "")
	add(7, "u unit", "")
	if p.state.Playback == nil {
		add(8, p.holdWords(), "space hold", "")
	}
	add(0, "? help")
	add(0, "q quit")
	return fields
}

func (p *painter) holdWords() string {
	if p.keys.held != nil {
		return "space lets the strip go"
	}
	return "space holds the strip"
}

// playFields is what space does in a playback.
func (p *painter) playFields() []string {
	if p.state.Playback.Paused {
		return []string{"space plays on"}
	}
	return []string{"space pauses"}
}

// playbackWords tell where the playback is.
func playbackWords(pb *views.Playback) string {
	text := "playback " + playbackPlace(pb)
	switch {
	case pb.Over:
		text += ", the end"
	case pb.Paused:
		text += ", paused"
	case pb.Times != 1:
		text += ", " + views.PlainNumber(pb.Times) + " times as fast"
	}
	return text
}

func playbackPlace(pb *views.Playback) string {
	return views.Minutes(pb.At) + " of " + views.Minutes(pb.Length)
}
