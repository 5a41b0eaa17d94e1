package report

import (
	"slices"

	"stumble/misfire"
	"stumble/misfire/gear"
)

// refreshLine is how often the car brings its counts up to date.
func (w *writer) refreshLine(d *Drive) string {
	r := d.Summary.Refresh
	switch r.Kind {
	case misfire.RefreshAtOnce:
		return w.tell("refresh-at-once")
	case misfire.RefreshRevolutions:
		return w.tell("refresh-revolutions", w.grouped(r.Revolutions), w.counted("count-rises", float64(r.Rises)))
	case misfire.RefreshSeconds:
		return w.tell("refresh-seconds", w.figureOf(r.Seconds), w.counted("count-rises", float64(r.Rises)))
	case misfire.RefreshKeyOff:
		return w.tell("refresh-key-off")
	}
	if !reportsCounts(d.Summary) {
		return w.tell("refresh-none")
	}
	return w.tell("refresh-unknown")
}

// unknown says what the numbers do not tell: nobody should have to find that out afterwards.
func (w *writer) unknown() {
	w.chapter(w.tell("head-unknown"))
	var lines list
	add := func(text string) {
		if text != "" && !slices.Contains(lines, text) {
			lines = append(lines, text)
		}
	}
	if w.Proof != nil && w.Proof.Result != nil {
		r := w.Proof.Result
		for _, a := range r.NotCompared {
			side := w.tell("only-after")
			if a.Before {
				side = w.tell("only-before")
			}
			add(w.tell("not-compared-line", a.Where, side, w.grouped(a.Firings)))
		}
		if r.Codes == nil {
			add(w.tell("unknown-codes"))
		}
		for _, n := range r.Notes {
			add(w.asSentence(n))
		}
	}
	for i := range w.Drives {
		d := &w.Drives[i]
		if !w.inDetail(d) {
			continue
		}
		for _, n := range d.Summary.Notes {
			add(w.asSentence(n))
		}
		for _, g := range d.Gaps {
			add(w.tell("unknown-gap", d.Number, into(g.From.Sub(d.Summary.Start)), into(g.To.Sub(d.Summary.Start)), w.asSentence(g.Text)))
		}
	}
	for _, key := range [...]string{w.tell("unknown-paused"), w.tell("unknown-zero"), w.tell("unknown-limits"), w.tell("unknown-weather"), w.tell("unknown-bench")} {
		add(key)
	}
	w.add(lines)
}

// marks are what driver and helper noted while driving.
func (w *writer) marks() {
	t := &table{caption: w.tell("caption-marks"), columns: []column{
		{title: w.tell("col-drive"), firm: true}, {title: w.tell("col-into"), right: true, firm: true, head: true}, {title: w.tell("col-mark")},
	}}
	for i := range w.Drives {
		d := &w.Drives[i]
		if !w.inDetail(d) {
			continue
		}
		for _, m := range d.Marks {
			text := isolate(m.Text)
			if m.Gear != gear.Unknown {
				text = w.tell("mark-gear", w.gearName(m.Gear))
			}
			t.add(whole(int(d.Number)), into(m.At.Sub(d.Summary.Start)), text)
		}
	}
	if len(t.rows) > 0 {
		w.chapter(w.tell("head-marks"))
		w.show(t)
	}
}

// care is what anybody who works on by this report must mind, and what it does not replace.
func (w *writer) care() {
	w.chapter(w.tell("head-care"))
	w.add(caution(w.tell("care-voltage")))
	w.add(list{
		w.tell("care-turning"), w.tell("care-exhaust"), w.tell("care-catalyst"), w.tell("care-in-gear"), w.tell("care-road"),
		w.tell("care-fuel"), w.tell("care-hybrid"), w.tell("care-clearing"),
	})
	w.say(w.tell("care-deference"))
	w.say(w.tell("care-inspection"))
}

// signatures closes the page.
func (w *writer) signatures() {
	w.section(w.tell("head-signatures"))
	w.say(w.tell("say-signatures"))
	date := w.tell("sign-date")
	w.add(signatures{{w.tell("sign-technician"), date}, {w.tell("sign-owner"), date}})
	w.add(note(w.tell("note-made", w.minute(w.Made))))
}
