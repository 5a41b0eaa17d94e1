package report

import (
	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/views/say"
	"stumble/views/wrap"
)

// Compose makes the drive-cycle report of a case. The order is that in which an owner asks: what came out of it, what
// was done, what shows it, what is still to come; then what a technician wants to check it by.
func Compose(c *Case, o Options) *Document {
	d := newDocument(o.Units)
	d.paper, d.made = o.Paper, c.Made
	w := &writer{Document: d, Case: c}
	if c.Proof != nil {
		d.between = c.Proof.Between
	}
	w.top()
	w.outcome()
	w.work()
	w.comparison()
	w.drives()
	w.codes()
	w.causes()
	w.bench()
	w.carItself()
	w.measured()
	w.unknown()
	w.marks()
	w.care()
	w.signatures()
	return d
}

// writer writes a case into a document.
type writer struct {
	*Document
	*Case
}

// chapter begins a section that a printed page may well begin with.
func (w *writer) chapter(text string) {
	w.add(pageBreak{})
	w.section(text)
}

// top says who hands over what.
func (w *writer) top() {
	if s := w.Shop; s.Name != "" || s.Address != "" || s.Logo != nil {
		w.add(masthead{name: isolate(s.Name), lines: isolatedLines(s.Address), logo: s.Logo})
	}
	w.head(w.tell("title-report"))
	t := facts()
	fact := func(name, text string) {
		if text != "" {
			t.add(name, text)
		}
	}
	vehicle := isolate(w.Job.Vehicle)
	if vehicle == "" {
		vehicle = w.tell("word-not-told")
	}
	fact(w.tell("fact-vehicle"), vehicle)
	vin := isolate(w.Job.VIN)
	if vin == "" {
		vin = w.tell("word-not-told")
	}
	fact(w.tell("fact-vin"), vin)
	fact(w.tell("fact-engine"), w.engineLine())
	fact(w.tell("fact-complaint"), isolate(w.Job.Complaint))
	job := w.tell("job-number", w.Job.Number)
	if name := isolate(w.Job.Name); name != "" {
		job = w.tell("job-named", w.Job.Number, name)
	}
	fact(w.tell("fact-job"), w.tell("job-opened", job, w.day(w.Job.Opened)))
	fact(w.tell("fact-made"), w.minute(w.Made))
	w.show(t)
	w.addModernCaution(w.Before.modern() || w.After.modern())
	w.running = []string{w.tell("fact-job") + wrap.FirmSpace + w.tell("job-number", w.Job.Number), vehicle, vin}
}

// engineLine is the engine as the drives were counted by.
func (w *writer) engineLine() string {
	for i := range w.Drives {
		s := w.Drives[i].Summary
		if s.Engine.Cylinders == 0 {
			continue
		}
		words := isolate(w.Engine(s.Engine))
		if order := s.Engine.Row().Order; order != "" {
			words = w.tell("engine-order", words, order)
		}
		if !s.Map.IsIdentity() {
			words = w.tell("engine-map", words, s.Map)
		}
		return words
	}
	return ""
}

// outcome is the verdict: of the comparison where there is one, else of the drives.
func (w *writer) outcome() {
	switch {
	case w.Proof != nil && w.Proof.Between == BetweenNothing && w.Proof.Result != nil:
		w.add(finding{toneBad, w.tell("outcome-untold"), w.Untold(w.Proof.Result)})
	case w.Proof != nil && w.Proof.Result != nil:
		w.addVerdict(w.Proof.Result, w.Proof.Swap, w.headline(w.Proof.Result))
	case len(w.Drives) > 0:
		w.driven()
	default:
		w.add(finding{toneOpen, w.tell("outcome-nothing"), w.tell("say-nothing-driven")})
	}
	if w.easedOff() {
		w.add(caution(w.tell("caution-ease-off")))
	}
}

// easedOff reports whether misfire that harms the catalyst was seen in the newest drive.
func (w *writer) easedOff() bool {
	if len(w.Drives) == 0 {
		return false
	}
	s := w.Drives[len(w.Drives)-1].Summary
	return s.Verdict.EaseOff || s.Whole.Catalyst.Over > 0
}

// addVerdict tells how the repair came out, what that is good for, and what is still wanted; s is nil when no part was
// exchanged.
func (d *Document) addVerdict(r *proof.Comparison, s *proof.SwapResult, sentence string) {
	if s != nil {
		d.add(finding{toneOfSwap(s.Verdict), d.SwapVerdict(s.Verdict), d.SwapFinding(s)})
		if s.Verdict != proof.CannotTell {
			d.say(d.SwapMeaning(s))
		}
		return
	}
	d.add(finding{toneOf(r.Outcome), d.Outcome(r.Outcome), sentence})
	d.say(d.meaning(r.Outcome))
	d.addNeeded(r)
}

// toneOfSwap is loud where a swap named what to replace or where to look.
func toneOfSwap(v proof.SwapVerdict) tone {
	if v == proof.FollowedPart || v == proof.StayedPut {
		return toneBad
	}
	return toneOpen
}

// headline is the comparison in one sentence. What it rests on is told with the table.
func (w *words) headline(r *proof.Comparison) string {
	if r.Outcome == proof.NotYet && len(r.Cylinders) > 0 {
		return w.notYet(r)
	}
	return w.Headline(r)
}

// notYet says of a repair that is not proven what there is to say: whether the cylinders were clean as far as they were
// driven.
func (w *words) notYet(r *proof.Comparison) string {
	var numbers []int
	misses, firings := 0.0, 0.0
	for i := range r.Cylinders {
		numbers = append(numbers, r.Cylinders[i].Cylinder)
		for k := range r.Cylinders[i].Conditions {
			if c := &r.Cylinders[i].Conditions[k]; c.Failing {
				misses += c.Most.Misses
				firings += c.Most.Firings
			}
		}
	}
	switch named := say.Capital(w.Cylinders(numbers)); {
	case firings == 0:
		return w.Count("not-yet-undriven", float64(len(numbers)), named, w.deed())
	case misses == 0:
		return w.Count("not-yet-clean", float64(len(numbers)), named, w.deed(), w.counted("count-firings", firings))
	default:
		return w.Count("not-yet-misses", float64(len(numbers)), named, w.deed(), w.counted("count-misses", misses), w.counted("count-firings", firings))
	}
}

// meaning says to an owner what an outcome is good for. Of a repair it speaks only where somebody told of one.
func (w *words) meaning(o proof.Outcome) string {
	if w.between != BetweenRepair {
		switch o {
		case proof.StillMissing:
			return w.tell("meaning-misses-on")
		case proof.NotYet:
			return w.tell("meaning-too-little")
		}
	}
	switch o {
	case proof.Proven:
		return w.tell("meaning-proven")
	case proof.Improved:
		return w.tell("meaning-improved")
	case proof.StillMissing:
		return w.tell("meaning-still-missing")
	case proof.Moved:
		return w.tell("meaning-moved")
	}
	return w.tell("meaning-not-yet")
}

func toneOf(o proof.Outcome) tone {
	switch o {
	case proof.Proven:
		return toneGood
	case proof.StillMissing, proof.Moved, proof.Improved:
		return toneBad
	}
	return toneOpen
}

// driven tells what the newest drive showed, when nothing was compared.
func (w *writer) driven() {
	s := w.Drives[len(w.Drives)-1].Summary
	v := s.Verdict
	word, t := w.tell("outcome-seen"), toneOpen
	switch {
	case v.Accuses():
		word, t = w.tell("outcome-misses"), toneBad
	case !s.Counted():
		word = w.tell("outcome-weaker")
	}
	w.add(finding{t, word, w.Verdict(s)})
	if w.Proof != nil && w.Proof.Why != "" {
		w.say(w.tell("say-not-compared", w.asSentence(w.Proof.Why)))
	} else {
		w.say(w.tell("meaning-one-drive"))
	}
}

// addNeeded lists the running that a proof still wants.
func (d *Document) addNeeded(r *proof.Comparison) {
	lines := d.needs(r.Needed)
	for _, c := range r.Checks {
		if !c.Met {
			lines = append(lines, d.asSentence(d.Check(c)))
		}
	}
	if len(lines) > 0 {
		d.say(d.tell("say-needed"))
		d.add(lines)
	}
}

func (w *words) needs(needs []proof.Need) (lines list) {
	for _, n := range needs {
		lines = append(lines, w.tell("need-line", w.runningTime(n.Minutes), w.inGear(n.Gear), w.point(n.At)))
	}
	return lines
}

// point is where an engine ran.
func (w *words) point(p proof.Point) string {
	text := w.tell("point-at", w.grouped(p.RPM), w.grouped(p.Load))
	if warm := w.Warmth(p.Warm); warm != "" {
		text = w.Commas([]string{text, warm})
	}
	return text
}

// work is what was done and noted down, in order of time.
func (w *writer) work() {
	if len(w.Notes) == 0 {
		return
	}
	w.section(w.tell("head-work"))
	t := &table{columns: []column{{title: w.tell("col-when"), firm: true, head: true}, {title: w.tell("col-note")}}}
	for _, n := range w.Notes {
		t.add(w.minute(n.At), w.done(&n))
	}
	w.show(t)
}

// done is a note, or what was done to the car, in words.
func (w *writer) done(n *Note) string {
	text := isolate(n.Text)
	switch {
	case n.Kind == NoteSwapped:
		swapped := w.tell("work-swapped", n.Part, n.Cylinder, n.Other)
		if text == "" {
			return swapped
		}
		return w.tell("join-sentences", swapped, text)
	case n.Kind == NotePlain:
		return text
	case n.Part != "" && n.Cylinder > 0:
		return w.tell("work-repaired-part", text, isolate(n.Part), n.Cylinder)
	case n.Cylinder > 0:
		return w.tell("work-repaired-cylinder", text, n.Cylinder)
	}
	return w.tell("work-repaired", text)
}

// gearsSeen are the gear states of a drive, in the order in which they are told.
func gearsSeen(s *misfire.Summary) (seen []gear.State) {
	for _, g := range gear.Order() {
		for i := range s.ByGear {
			if s.ByGear[i].Condition.Gear == g {
				seen = append(seen, g)
				break
			}
		}
	}
	return seen
}
