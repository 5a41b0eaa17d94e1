package report

import (
	"cmp"
	"slices"

	"stumble/misfire/bench"
	"stumble/views/say"
)

// bench shows what was measured by hand and how it is judged.
func (w *writer) bench() {
	if len(w.Bench) == 0 {
		return
	}
	w.chapter(w.tell("head-bench"))
	t := &table{caption: w.tell("caption-bench"), columns: []column{
		{title: w.tell("col-cylinder"), head: true}, {title: w.tell("col-value"), right: true}, {title: w.tell("col-judged")}, {title: w.tell("col-why")},
	}}
	readings := slices.Clone(w.Bench)
	slices.SortStableFunc(readings, func(a, b BenchReading) int {
		return cmp.Or(cmp.Compare(kindPlace(&a), kindPlace(&b)), cmp.Compare(a.Judged.Reading.Cylinder, b.Judged.Reading.Cylinder))
	})
	last := ""
	for i := range readings {
		r := &readings[i]
		if name := kindName(r); name != last {
			t.band(say.Capital(name))
			last = name
		}
		w.benchRow(t, r)
	}
	w.show(t)
	w.add(note(w.tell("note-bench")))
}

func (w *writer) benchRow(t *table, r *BenchReading) {
	j := &r.Judged
	place := w.tell("word-whole-engine")
	if j.Reading.Cylinder > 0 {
		place = whole(j.Reading.Cylinder)
	}
	if j.Redone {
		t.add(place, w.benchValue(&j.Reading), w.tell("mark-redone"), "")
		return
	}
	kind := rowPlain
	if j.Mark > bench.Good {
		kind = rowLoud
	}
	why := foreign(w.benchWords().Why(j))
	if source := say.Published(j.Decides().Source); source != "" {
		why = w.tell("bench-why", why, source)
	}
	t.addKind(kind, place, w.benchValue(&j.Reading), w.Mark(j.Mark), why)
}

// benchWords tell readings in the units of the report, where they were typed in none of their own.
func (w *writer) benchWords() say.Bench { return say.Bench{Words: w.Words, US: w.units == US} }

// benchValue is what was measured.
func (w *writer) benchValue(r *bench.Reading) string { return isolate(w.benchWords().Reading(r)) }

// kindName is what was measured, in words.
func kindName(r *BenchReading) string {
	m := &r.Judged.Reading
	if k, known := bench.KindOf(m.Part, m.Quantity); known {
		return k.Name
	}
	return foreign(string(m.Part) + ", " + string(m.Quantity))
}

// kindPlace is the place of a kind in the usual order of work; what is not known comes last.
func kindPlace(r *BenchReading) int {
	kinds := bench.Kinds()
	m := &r.Judged.Reading
	at := slices.IndexFunc(kinds, func(k bench.Kind) bool { return k.Part == m.Part && k.Quantity == m.Quantity })
	if at < 0 {
		return len(kinds)
	}
	return at
}
