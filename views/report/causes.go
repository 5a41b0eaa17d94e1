package report

import (
	"io"
	"slices"
	"strings"

	"stumble/misfire/cause"
	"stumble/misfire/proof"
	"stumble/views/say"
)

// Causes is all there is to tell of what may be behind a misfire.
type Causes struct {
	Job      int64             // 0: of no job
	Vehicle  string            // its name
	Followed *proof.SwapResult // a swap that named the part; nil where none did
	Cured    string            // the repair that was proven, in words; empty where none was
	Proof    string            // the sentence that proved it
	Drives   string            // which drives it rests on, in words; empty for none
	Ignition cause.Ignition
	Result   *cause.Result
	Also     []string // what a reader must know beside its notes, a phrase each
}

// How much is told of the causes: the likeliest with their reasons, the others by name.
const (
	causesTold  = 3
	reasonsTold = 4
	leastTold   = 0.02  // share from which a cause is told with its reasons
	leastNamed  = 0.025 // share from which it is named at all: what is told as 5 percent
)

// WriteCauses writes ranked causes as text for people, no line longer than width cells: the sentence, each cause with
// what speaks for and against it and what would overturn it, the next test, and what it all rests on. An error says that
// width is too small, or what w reported.
func WriteCauses(w io.Writer, c *Causes, width int) error {
	d := newDocument(Metric)
	d.head(d.tell("title-causes"))
	if c.Followed != nil {
		d.add(finding{toneBad, d.SwapVerdict(c.Followed.Verdict), d.SwapFinding(c.Followed)})
		d.say(d.SwapMeaning(c.Followed))
	}
	if c.Cured != "" {
		d.say(c.Proof)
		d.say(d.tell("say-causes-before", c.Cured))
	}
	d.say(d.Causes(c.Result))
	if len(c.Result.Ranked) > 0 {
		d.section(d.tell("head-causes"))
		d.addRanked(c.Result, d.reasonTable)
		d.addNext(c.Result)
	}
	d.addGrounds(c)
	return d.WriteText(w, width)
}

// causes shows what may be behind the misfire, and the test to make next.
func (w *writer) causes() {
	r := w.Causes
	if r == nil || len(r.Ranked) == 0 && r.Basis != cause.NumberingOpen {
		return
	}
	w.chapter(w.tell("head-causes"))
	if w.Proof != nil && w.Proof.Result != nil && w.Proof.Result.Outcome == proof.Proven && w.between != BetweenNothing {
		w.say(w.tell("say-causes-before", w.deed()))
	}
	w.say(w.Words.Causes(r))
	if r.Basis == cause.NumberingOpen {
		return
	}
	w.addRanked(r, w.causeTable)
	w.nextTest(r)
	w.remarks(slices.Concat(w.CauseNotes(r), w.CausesAlso))
}

// addRanked shows the likeliest causes in a table and names the others.
func (d *Document) addRanked(r *cause.Result, tabled func([]cause.Ranked) *table) {
	told, rest := 0, []string(nil)
	for i := range r.Ranked {
		c := &r.Ranked[i]
		switch {
		case i < causesTold && c.Share >= leastTold:
			told = i + 1
		case c.Share >= leastNamed:
			rest = append(rest, d.causeShare(c.Name, c.Share))
		}
	}
	d.show(tabled(r.Ranked[:told]))
	if len(rest) > 0 {
		d.say(d.tell("say-less-likely", d.Commas(rest)))
	}
	d.add(note(d.tell("note-causes")))
}

// causeShare names a cause with its weight.
func (w *words) causeShare(name string, share float64) string {
	return w.tell("cause-share", name, w.Weight(share))
}

// causeTable has a row for each cause, with the facts that bear on it.
func (w *words) causeTable(ranked []cause.Ranked) *table {
	t := &table{caption: w.tell("caption-causes"), columns: []column{
		{title: w.tell("col-cause"), head: true}, {title: w.tell("col-weight"), right: true, firm: true}, {title: w.tell("col-for")},
		{title: w.tell("col-against")}, {title: w.tell("col-overturn")},
	}}
	for i := range ranked {
		c := &ranked[i]
		t.add(say.Capital(w.CauseTitle(c)), w.Weight(c.Share), w.factLines(c.For), w.factLines(c.Against), say.Capital(w.Filled(c.Overturn)))
	}
	return t
}

// factLines are the facts that bear on a cause, a line each.
func (w *words) factLines(reasons []cause.Reason) string {
	var lines []string
	for i := range reasons[:min(reasonsTold, len(reasons))] {
		if fact := say.Capital(w.Telling(&reasons[i].Fact)); !slices.Contains(lines, fact) {
			lines = append(lines, fact)
		}
	}
	return strings.Join(lines, "\n")
}

// reasonTable has a few rows for each cause, with room for why a fact bears on it.
func (w *words) reasonTable(ranked []cause.Ranked) *table {
	t := facts()
	t.caption = w.tell("caption-causes")
	for i := range ranked {
		c := &ranked[i]
		t.band(say.Capital(w.causeShare(w.CauseTitle(c), c.Share)))
		w.reasonRows(t, w.tell("fact-for"), c.For, w.because)
		w.reasonRows(t, w.tell("fact-against"), c.Against, w.although)
		t.add(w.tell("fact-overturn"), say.Capital(w.Filled(c.Overturn)))
	}
	return t
}

func (w *words) reasonRows(t *table, name string, reasons []cause.Reason, told func(*cause.Reason) string) {
	for i := range reasons[:min(reasonsTold, len(reasons))] {
		t.add(name, say.Capital(told(&reasons[i])))
		name = ""
	}
}

func (w *words) because(r *cause.Reason) string {
	return w.tell("reason-for", w.Telling(&r.Fact), r.Why)
}

func (w *words) although(r *cause.Reason) string {
	if r.Expected == "" {
		return w.tell("reason-less-usual", w.Telling(&r.Fact), r.Why)
	}
	return w.tell("reason-more-usual", w.Telling(&r.Fact), r.Expected, r.Why)
}

// nextTest says what to do next, and what else would do.
func (w *writer) nextTest(r *cause.Result) {
	t := r.Next
	if t == nil {
		return
	}
	w.subsection(w.tell("head-next-test", w.Filled(t.Name)))
	w.addCautions(t)
	f := w.testTable(t)
	w.addOthers(f, r.Others, func(o *cause.Test) string { return w.Filled(o.Name) })
	w.show(f)
}

// addNext says what to do next, what may come of it, and what else would do, with the minutes of each.
func (d *Document) addNext(r *cause.Result) {
	t := r.Next
	if t == nil {
		return
	}
	d.section(d.tell("head-next-test", d.Filled(t.Name)))
	d.addCautions(t)
	f := d.testTable(t)
	var outcomes []string
	for _, o := range t.Outcomes {
		found := say.Capital(strings.ReplaceAll(o.Key, "_", " "))
		outcomes = append(outcomes, d.tell("outcome-leads", found, d.Weight(o.Share), o.Leads, d.Weight(o.Then)))
	}
	if len(outcomes) > 0 {
		f.add(d.tell("fact-tells"), strings.Join(outcomes, "\n"))
	}
	d.addOthers(f, r.Others, func(o *cause.Test) string {
		return d.tell("test-takes", d.Filled(o.Name), d.tell("time-minutes", d.grouped(o.Minutes)))
	})
	d.show(f)
}

// addCautions warns of what a test is dangerous by.
func (d *Document) addCautions(t *cause.Test) {
	for _, c := range t.Cautions {
		d.add(caution(c))
	}
}

// testTable is how a test is made and read.
func (w *words) testTable(t *cause.Test) *table {
	f := facts()
	f.add(w.tell("fact-how"), w.Filled(t.How))
	f.add(w.tell("fact-decides"), w.Filled(t.Decides))
	f.add(w.tell("fact-takes"), w.tell("time-minutes", w.grouped(t.Minutes)))
	return f
}

// addOthers names the tests that would do instead.
func (w *words) addOthers(f *table, others []cause.Test, named func(*cause.Test) string) {
	var names []string
	for i := range others {
		names = append(names, named(&others[i]))
	}
	if len(names) > 0 {
		f.add(w.tell("fact-or-else"), w.chain("join-semicolon", names))
	}
}

// addGrounds lists the tests made, what a reader must know of the evidence, and the drives.
func (d *Document) addGrounds(c *Causes) {
	var lines list
	for _, f := range c.Result.Done {
		lines = append(lines, d.asSentence(d.tell("ground-made", d.Telling(&f.Found))))
	}
	for _, n := range slices.Concat(d.CauseNotes(c.Result), c.Also) {
		lines = append(lines, d.asSentence(n))
	}
	if c.Job != 0 && c.Vehicle != "" {
		lines = append(lines, d.asSentence(d.tell("ground-job", c.Job, foreign(c.Vehicle))))
	}
	if c.Drives != "" {
		lines = append(lines, d.asSentence(d.tell("ground-from", c.Drives)))
	}
	if len(lines) > 0 {
		d.section(d.tell("head-grounds"))
		d.add(lines)
	}
}
