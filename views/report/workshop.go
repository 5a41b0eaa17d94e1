package report

import (
	"cmp"
	"slices"
	"strings"

	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/proof"
	"stumble/obd"
)

// How much is told of the causes: the likeliest with their reasons, the others by name.
const (
	causesTold  = 3
	reasonsTold = 4
	leastTold   = 0.02  // share from which a cause has a row of its own
	leastNamed  = 0.005 // share from which it is named at all
)

// causes shows what may be behind the misfire, and the test to make next.
func (w *writer) causes() {
	r := w.Causes
	if r == nil || len(r.Ranked) == 0 {
		return
	}
	w.chapter(w.tell("head-causes"))
	if w.Proof != nil && w.Proof.Result != nil && w.Proof.Result.Outcome == proof.Proven {
		w.say(w.tell("say-causes-before"))
	}
	w.say(r.Sentence)
	t := &table{caption: w.tell("caption-causes"), columns: []column{
		{title: w.tell("col-cause"), head: true}, {title: w.tell("col-weight"), right: true, firm: true}, {title: w.tell("col-for")},
		{title: w.tell("col-against")}, {title: w.tell("col-overturn")},
	}}
	var rest []string
	for i := range r.Ranked {
		c := &r.Ranked[i]
		switch {
		case i < causesTold && c.Share >= leastTold:
			t.add(capital(c.Title()), w.percent(100*c.Share), factLines(c.For), factLines(c.Against), capital(c.Overturn))
		case c.Share >= leastNamed:
			rest = append(rest, w.tell("cause-share", c.Name, w.percent(100*c.Share)))
		}
	}
	w.show(t)
	if len(rest) > 0 {
		w.say(w.tell("say-less-likely", w.commas(rest)))
	}
	w.add(note(w.tell("note-causes")))
	w.nextTest(r)
	w.remarks(r.Notes)
}

// factLines are the facts that bear on a cause, a line each.
func factLines(reasons []cause.Reason) string {
	var lines []string
	for i := range reasons[:min(reasonsTold, len(reasons))] {
		if fact := capital(reasons[i].Fact); !slices.Contains(lines, fact) {
			lines = append(lines, fact)
		}
	}
	return strings.Join(lines, "\n")
}

// nextTest says what to do next, with its cautions first.
func (w *writer) nextTest(r *cause.Result) {
	t := r.Next
	if t == nil {
		return
	}
	w.subsection(w.tell("head-next-test", t.Name))
	for _, c := range t.Cautions {
		w.add(caution(c))
	}
	f := facts()
	f.add(w.tell("fact-how"), t.How)
	f.add(w.tell("fact-decides"), t.Decides)
	f.add(w.tell("fact-takes"), w.tell("time-minutes", w.grouped(t.Minutes)))
	var others []string
	for _, o := range r.Others {
		others = append(others, o.Name)
	}
	if len(others) > 0 {
		f.add(w.tell("fact-or-else"), w.chain("join-semicolon", others))
	}
	w.show(f)
}

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
			t.band(capital(name))
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
	why := foreign(j.Why)
	if j.Source != "" {
		why = w.tell("bench-why", why, j.Source)
	}
	t.addKind(kind, place, w.benchValue(&j.Reading), w.markName(j.Mark), why)
}

// benchValue is what was measured. Where the country has another unit for it, that comes first; the rules speak in the
// other.
func (w *writer) benchValue(r *bench.Reading) string {
	text := isolate(r.String())
	if w.units != US || r.Open() {
		return text
	}
	const millimetresAnInch = 25.4
	switch {
	case r.Quantity == bench.Vacuum:
		v, unit := w.mercury(r.Value)
		return w.written(v, decimals(unit), unit) + "\n" + text
	case r.Unit == "kPa":
		return w.written(r.Value, 0, obd.Kilopascals) + "\n" + text
	case r.Unit == "mm":
		return w.written(r.Value/millimetresAnInch, 3, "in") + "\n" + text
	}
	return text
}

func (w *words) markName(m bench.Mark) string {
	switch m {
	case bench.Good:
		return w.tell("mark-good")
	case bench.Suspect:
		return w.tell("mark-suspect")
	case bench.Bad:
		return w.tell("mark-bad")
	}
	return w.tell("mark-cannot-say")
}

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
