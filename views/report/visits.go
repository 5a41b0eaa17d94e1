package report

import (
	"cmp"
	"fmt"
	"slices"

	"stumble/obd"
)

// codes shows the trouble codes before and after, what each means, and the moments they were stored.
func (w *writer) codes() {
	w.chapter(w.tell("title-codes"))
	if w.Before.Codes == nil && w.After.Codes == nil {
		w.say(w.tell("say-codes-never-read"))
		return
	}
	w.show(w.codesTable())
	if w.Proof != nil && w.Proof.Result != nil && w.Proof.Result.Codes != nil {
		w.add(list(w.CodeChange(w.Proof.Result.Codes)))
	}
	all := w.allCodes()
	if len(all) > 0 {
		w.subsection(w.tell("head-codes"))
		w.show(w.meaningTable(all))
		w.say(w.workLine(all))
	}
	w.deeper(func() {
		w.frames()
		for _, v := range w.visits() {
			w.addUnread(v.unread())
		}
	})
}

// frames shows the moments that were stored. One that is still there after the repair is told once.
func (w *writer) frames() {
	var told []string
	for _, v := range w.visits() {
		left := *v.Codes
		left.Frames = slices.DeleteFunc(slices.Clone(left.Frames), func(f obd.FreezeFrame) bool {
			frame := fmt.Sprint(f.Module, f.Code, f.Frame, f.Readings)
			if slices.Contains(told, frame) {
				return true
			}
			told = append(told, frame)
			return false
		})
		if len(left.Frames) > 0 {
			w.addFrames(&left)
		}
	}
}

// visits are those at which anything was read.
func (w *writer) visits() (found []*Visit) {
	for _, v := range []*Visit{&w.Before, &w.After} {
		if v.Codes != nil {
			found = append(found, v)
		}
	}
	return found
}

// unread is what of a visit could not be read.
func (v *Visit) unread() []obd.Unread {
	if v.Intake != nil {
		return v.Intake.Unread
	}
	return v.Codes.Unread
}

// beforeCAN reports that the car's bus is older than permanent codes.
func (v *Visit) beforeCAN() bool {
	if v.Intake != nil {
		return v.Intake.Protocol != obd.ProtocolUnknown && !v.Intake.Protocol.CAN()
	}
	return beforeCAN(v.Codes)
}

// codesTable has a row for each list and a column for each reading of it.
func (w *writer) codesTable() *table {
	t := &table{caption: w.tell("caption-codes"), columns: []column{{title: w.tell("col-list"), firm: true, head: true}}}
	for _, v := range []struct {
		visit *Visit
		name  string
	}{{&w.Before, w.tell("col-before")}, {&w.After, w.tell("col-after")}} {
		if v.visit.Codes != nil {
			t.columns = append(t.columns, column{title: v.name + "\n" + w.tell("col-read-at", w.minute(v.visit.At))})
		}
	}
	t.columns = append(t.columns, column{title: w.tell("col-meaning")})
	visits := w.visits()
	for _, l := range codeLists() {
		cells := []string{w.tell(l.name)}
		for _, v := range visits {
			cells = append(cells, w.listText(l, v.Codes, v.beforeCAN()))
		}
		t.add(append(cells, w.tell(l.meaning))...)
	}
	if !slices.ContainsFunc(visits, func(v *Visit) bool { return v.Intake != nil }) {
		return t
	}
	cells := []string{w.tell("fact-lamp")}
	for _, v := range visits {
		if v.Intake == nil {
			cells = append(cells, w.tell("word-not-read"))
		} else {
			cells = append(cells, w.lampText(v.Intake))
		}
	}
	t.add(append(cells, w.tell("meaning-lamp"))...)
	return t
}

// allCodes are the codes of both visits, each once, in the order in which they are shown.
func (w *writer) allCodes() (all []obd.Code) {
	for _, v := range w.visits() {
		all = append(all, sortedCodes(v.Codes)...)
	}
	slices.SortFunc(all, byGroup)
	return slices.Compact(all)
}

// byGroup orders codes as they are shown: misfire first.
func byGroup(a, b obd.Code) int {
	return cmp.Or(cmp.Compare(groupOf(a), groupOf(b)), cmp.Compare(a, b))
}

// meaningTable explains each code.
func (w *writer) meaningTable(codes []obd.Code) *table {
	t := &table{caption: w.tell("caption-meanings"), columns: []column{{title: w.tell("col-code"), firm: true, head: true}, {title: w.tell("col-means")}, {title: w.tell("col-effect")}}}
	present := func(c obd.Code) bool { return slices.Contains(codes, c) }
	for _, c := range codes {
		t.add(c.String(), w.sentence(c.Meaning()), w.effect(c, present))
	}
	return t
}
