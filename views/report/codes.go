package report

import (
	"io"
	"slices"
	"strings"

	"stumble/obd"
	"stumble/views/say/catalogue"
)

// WriteCodes writes the trouble codes of a car as text for people, no line longer than width cells. It
// tells apart a list that is empty from one that was not read. An error says that width is too small, or
// what w reported.
func WriteCodes(w io.Writer, r *obd.CodeReport, width int) error {
	d := newDocument(Metric)
	d.head(d.tell("title-codes"))
	d.add(caution(d.tell("caution-clear")))
	d.addModernCaution(modernCodes(r))
	d.addCodes(r, beforeCAN(r))
	d.addFrames(r)
	d.addUnread(r.Unread)
	return d.WriteText(w, width)
}

// beforeCAN reports that the modules have addresses of a bus that is older than permanent codes.
func beforeCAN(r *obd.CodeReport) bool {
	return slices.ContainsFunc(r.Modules, func(m obd.ModuleCodes) bool { return m.Module.Bits == 8 })
}

// codeList is one of the three lists that every module keeps.
type codeList struct {
	name, meaning catalogue.Key
	unread        obd.UnreadKind
	// sinceCAN says that older buses have no such list.
	sinceCAN bool
	of       func(*obd.ModuleCodes) []obd.Code
}

func codeLists() [3]codeList {
	return [3]codeList{
		{"word-stored", "meaning-stored", obd.UnreadStored, false, func(m *obd.ModuleCodes) []obd.Code { return m.Stored }},
		{"word-pending", "meaning-pending", obd.UnreadPending, false, func(m *obd.ModuleCodes) []obd.Code { return m.Pending }},
		{"word-permanent", "meaning-permanent", obd.UnreadPermanent, true, func(m *obd.ModuleCodes) []obd.Code { return m.Permanent }},
	}
}

// read reports whether a list was read from every module that answered.
func (l codeList) read(r *obd.CodeReport) bool {
	return len(r.Modules) > 0 && !isUnread(r.Unread, l.unread)
}

func isUnread(unread []obd.Unread, what obd.UnreadKind) bool {
	return slices.ContainsFunc(unread, func(u obd.Unread) bool { return u.What == what })
}

// codes are all codes of a list, each once, in order.
func (l codeList) codes(r *obd.CodeReport) []obd.Code {
	var out []obd.Code
	for i := range r.Modules {
		out = append(out, l.of(&r.Modules[i])...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// modules are those that hold a code in a list.
func (l codeList) modules(r *obd.CodeReport, c obd.Code) []string {
	var out []string
	for i := range r.Modules {
		if m := &r.Modules[i]; slices.Contains(l.of(m), c) {
			out = append(out, m.Module.String())
		}
	}
	return out
}

// addCodes tells the three lists, then each code.
func (d *Document) addCodes(r *obd.CodeReport, beforeCAN bool) {
	d.show(d.listTable(r, beforeCAN))
	codes := sortedCodes(r)
	switch {
	case len(codes) > 0:
		d.section(d.tell("head-codes"))
		d.show(d.codeTable(r, codes))
		d.say(d.workLine(codes))
	case len(r.Modules) == 0:
		d.say(d.tell("say-nobody"))
	case allRead(r, beforeCAN):
		d.say(d.tell("say-no-codes"))
	}
}

// allRead reports whether every list that this car can have was read.
func allRead(r *obd.CodeReport, beforeCAN bool) bool {
	for _, l := range codeLists() {
		if !l.read(r) && !(beforeCAN && l.sinceCAN) {
			return false
		}
	}
	return true
}

// listTable has a row for each list: what is in it, and what being in it means.
func (w *words) listTable(r *obd.CodeReport, beforeCAN bool) *table {
	t := &table{columns: []column{{title: w.tell("col-list"), firm: true}, {title: w.tell("col-codes")}, {title: w.tell("col-meaning")}}}
	for _, l := range codeLists() {
		t.add(w.tell(l.name), w.listText(l, r, beforeCAN), w.tell(l.meaning))
	}
	return t
}

// listText is what one list holds.
func (w *words) listText(l codeList, r *obd.CodeReport, beforeCAN bool) string {
	var found []string
	for _, c := range l.codes(r) {
		found = append(found, c.String())
	}
	switch {
	case beforeCAN && l.sinceCAN && len(found) == 0:
		return w.tell("word-older")
	case !l.read(r) && len(found) > 0:
		found = append(found, w.tell("word-perhaps-more"))
	case !l.read(r):
		return w.tell("word-not-read")
	case len(found) == 0:
		return w.tell("word-none")
	}
	return w.Commas(found)
}

// sortedCodes are all codes of a car, each once, misfire codes first.
func sortedCodes(r *obd.CodeReport) []obd.Code {
	var out []obd.Code
	for _, l := range codeLists() {
		out = append(out, l.codes(r)...)
	}
	slices.SortFunc(out, byGroup)
	return slices.Compact(out)
}

// codeTable explains each code: where it stands, what it means, what it does to the case.
func (w *words) codeTable(r *obd.CodeReport, codes []obd.Code) *table {
	t := &table{columns: []column{{firm: true}, {}}}
	present := func(c obd.Code) bool { return slices.Contains(codes, c) }
	for _, c := range codes {
		lines := append([]string{w.sentence(c.Meaning()), w.standing(r, c)}, w.wholeCode(r, c)...)
		if e := w.effect(c, present); e != "" {
			lines = append(lines, e)
		}
		t.add(c.String(), strings.Join(lines, "\n"))
	}
	return t
}

// standing tells in which lists a code is, and of which modules where there are several.
func (w *words) standing(r *obd.CodeReport, c obd.Code) string {
	var lists, places, named []string
	for _, l := range codeLists() {
		if modules := l.modules(r, c); len(modules) > 0 {
			lists = append(lists, w.tell(l.name))
			places = append(places, w.inModules("", modules))
			named = append(named, w.inModules(w.tell(l.name), modules))
		}
	}
	alike := len(slices.Compact(slices.Clone(places))) == 1
	for i := range lists {
		if len(r.Modules) > 1 && (!alike || i == len(lists)-1) {
			lists[i] = named[i]
		}
	}
	return w.sentence(w.Commas(lists))
}

// workLine tells the order of work when the codes are of several groups.
func (w *words) workLine(codes []obd.Code) string {
	var steps []string
	for _, g := range orderOfWork() {
		var names []string
		for _, c := range codes {
			if groupOf(c) == g {
				names = append(names, c.String())
			}
		}
		if len(names) > 0 {
			steps = append(steps, w.List(names))
		}
	}
	if len(steps) < 2 {
		return ""
	}
	return w.tell("order-line", w.chain("order-then", steps))
}

// addFrames shows each freeze frame: a sentence, then everything that was kept.
func (d *Document) addFrames(r *obd.CodeReport) {
	if len(r.Frames) == 0 {
		if len(r.Modules) > 0 && !isUnread(r.Unread, obd.UnreadFrame) {
			d.say(d.tell("say-no-frame"))
		}
		return
	}
	for i := range r.Frames {
		f := &r.Frames[i]
		d.section(d.tell("head-frame", f.Code))
		d.say(d.frameLine(f))
		d.show(d.readingTable(f.Readings))
		if comparable(f) {
			d.say(d.tell("say-similar"))
		}
	}
}

// comparable reports whether a frame describes conditions that a repair can be judged in: the rule of
// similar conditions is one for misfire and fuel codes.
func comparable(f *obd.FreezeFrame) bool {
	_, speed := find(f.Readings, obd.PIDRPM, 0)
	_, load := find(f.Readings, obd.PIDLoad, 0)
	g := groupOf(f.Code)
	return speed && load && (g == groupMisfire || g == groupFuelAir)
}

// frameLine is a freeze frame in a sentence: what describes the moment best, as far as it was kept.
func (w *words) frameLine(f *obd.FreezeFrame) string {
	var about []string
	for _, pid := range [...]byte{obd.PIDRPM, obd.PIDLoad, obd.PIDCoolant, obd.PIDSpeed, obd.PIDRunTime} {
		if r, ok := find(f.Readings, pid, 0); ok {
			about = append(about, w.phrase(r))
		}
	}
	return w.frameWords(f, about)
}

// readingTable lists readings with the parameter numbers of the standard.
func (w *words) readingTable(readings []obd.Reading) *table {
	t := &table{columns: []column{{title: w.tell("col-reading")}, {title: w.tell("col-value"), right: true}, {title: w.tell("col-number"), firm: true}}}
	for i := range readings {
		r := &readings[i]
		if r.ID == obd.PIDFuelSystem && r.Part == obd.PartFuelSystem2 && r.Value == 0 {
			continue // hardly any engine has a second one
		}
		t.add(w.nameOf(r), w.readingText(r), Hex(r.ID))
	}
	return t
}

// addUnread lists what could not be read.
func (d *Document) addUnread(unread []obd.Unread) {
	if len(unread) == 0 {
		return
	}
	d.section(d.tell("head-unread"))
	d.say(d.tell("say-unread"))
	lines := make(list, len(unread))
	for i := range unread {
		lines[i] = foreign(d.Unread(&unread[i]))
	}
	d.add(lines)
}

// CodesUnread picks what is about codes and their freeze frames.
func CodesUnread(unread []obd.Unread) []obd.Unread {
	return slices.DeleteFunc(slices.Clone(unread), func(u obd.Unread) bool { return !u.Codes() })
}
