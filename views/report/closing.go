package report

import (
	"slices"

	"stumble/misfire/gear"
	"stumble/misfire/proof"
)

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
		for _, line := range w.notCompared(r) {
			add(line)
		}
		if r.Codes == nil {
			add(w.tell("unknown-codes", w.deed()))
		}
		for _, n := range w.ComparisonNotes(r) {
			add(w.asSentence(n))
		}
	}
	for i := range w.Drives {
		d := &w.Drives[i]
		if !w.inDetail(d) {
			continue
		}
		for _, n := range w.Words.Notes(d.Summary) {
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

// notCompared has a line for each condition that one side alone ran in.
func (w *words) notCompared(r *proof.Comparison) (lines list) {
	for _, a := range r.NotCompared {
		side := w.tell("only-after", w.deed())
		if a.Before {
			side = w.tell("only-before", w.deed())
		}
		lines = append(lines, w.tell("not-compared-line", a.Where, side, w.grouped(a.Firings)))
	}
	return lines
}

// marks are what driver and helper noted while driving, two beside each other, to be read down and then across.
func (w *writer) marks() {
	t := &table{caption: w.tell("caption-marks")}
	for range 2 {
		t.columns = append(t.columns, column{title: w.tell("col-into"), right: true, firm: true}, column{title: w.tell("col-mark")})
	}
	for i := range w.Drives {
		d := &w.Drives[i]
		if !w.inDetail(d) || len(d.Marks) == 0 {
			continue
		}
		t.band(w.tell("head-drive", d.Number))
		half := (len(d.Marks) + 1) / 2
		for k := range half {
			cells := append(w.mark(d, k), "", "")
			if half+k < len(d.Marks) {
				cells = append(cells[:2], w.mark(d, half+k)...)
			}
			t.add(cells...)
		}
	}
	if len(t.rows) > 0 {
		w.chapter(w.tell("head-marks"))
		w.show(t)
	}
}

// mark is when a mark was made and what it says.
func (w *writer) mark(d *Drive, k int) []string {
	m := &d.Marks[k]
	text := isolate(m.Text)
	if m.Gear != gear.Unknown {
		text = w.tell("mark-gear", w.gearName(m.Gear))
	}
	return []string{into(m.At.Sub(d.Summary.Start)), text}
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
