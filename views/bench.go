package views

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"stumble/misfire/bench"
	"stumble/views/say"
	"stumble/views/wrap"
)

// Bench is what was measured by hand under a job, judged.
type Bench struct {
	Job      int64  // 0: of no job
	Vehicle  string // its name
	US       bool   // readings that tell no unit of their own are told in psi, inches and degrees Fahrenheit
	Readings []BenchReading
}

// BenchReading is one measurement with its judgement.
type BenchReading struct {
	ID        int64 // 0: not saved
	At        time.Time
	Judgement bench.Judgement
	Then      *bench.Mark // what it was judged when it was taken; nil where that is not known
}

// WriteBench writes readings as text of at most so many columns: a sentence, each kind with its readings and why each is judged
// so, and under them the rules that were met and who says so. The error is w's.
func WriteBench(w io.Writer, b *Bench, width int) error {
	p := benchPage{page: page{width: width}, words: b.words()}
	p.paragraph("", BenchSentence(b))
	for _, set := range benchSets(b.Readings) {
		p.gap()
		p.paragraph("", say.Capital(set[0].name()))
		for i := range set {
			p.reading(&set[i])
		}
	}
	p.footnotes()
	if b.Vehicle != "" {
		p.gap()
		p.paragraph("", fmt.Sprintf("Job %d, %s.", b.Job, b.Vehicle))
	}
	_, err := io.WriteString(w, strings.Map(printableLines, p.String()))
	return err
}

// printableLines is printable, with line ends kept.
func printableLines(r rune) rune {
	if r == '\n' {
		return r
	}
	return wrap.Printable(r)
}

// benchPage is a page of readings being written.
type benchPage struct {
	page
	words say.Bench
	rules []string // that were met, with their sources, in the order they were
}

// reading writes one reading: what it is and its mark, then why.
func (p *benchPage) reading(r *BenchReading) {
	j := &r.Judgement
	number := "-"
	if r.ID > 0 {
		number = fmt.Sprint(r.ID)
	}
	place := "engine"
	if c := j.Reading.Cylinder; c > 0 {
		place = fmt.Sprintf("cylinder %d", c)
	}
	mark := p.words.Mark(j.Mark)
	if j.Mark > bench.Good {
		mark = strings.ToUpper(mark)
	}
	if j.Redone {
		mark = "measured again later"
	}
	p.paragraph(fmt.Sprintf("%5s  %-11s  ", number, place), p.words.Reading(&j.Reading)+": "+mark)
	if j.Redone {
		return
	}
	for i := range j.All {
		f := &j.All[i]
		if i == 0 || f.Mark != bench.Good { // praise of a second rule says nothing more
			p.paragraph(strings.Repeat(" ", 20), p.words.Finding(&j.Reading, f)+p.reference(f))
		}
	}
}

// reference is the number under which a finding's rule stands at the foot.
func (p *benchPage) reference(f *bench.Finding) string {
	if f.Rule == "" {
		return ""
	}
	rule := f.Rule
	if source := say.Published(f.Source); source != "" {
		rule += ": " + source
	}
	at := slices.Index(p.rules, rule)
	if at < 0 {
		at = len(p.rules)
		p.rules = append(p.rules, rule)
	}
	return fmt.Sprintf(" [%d]", at+1)
}

// words tell the readings of the page.
func (b *Bench) words() say.Bench { return say.Bench{Words: say.English(), US: b.US} }

// footnotes are the rules and how much they are worth.
func (p *benchPage) footnotes() {
	if len(p.rules) == 0 {
		return
	}
	p.gap()
	for i, rule := range p.rules {
		p.paragraph(fmt.Sprintf("[%d] ", i+1), rule)
	}
	p.paragraph("", "The maker's figure wins over every band. A band is a guide; a part that differs from its siblings "+
		"is suspect inside any band.")
}

// Name is what was measured, in words.
func (r *BenchReading) name() string {
	m := &r.Judgement.Reading
	if k, known := bench.KindOf(m.Part, m.Quantity); known {
		return k.Name
	}
	return fmt.Sprintf("%s, %s", m.Part, m.Quantity)
}

// benchSets are the readings by what was measured, in the order of the kinds; within each by cylinder, then as taken.
func benchSets(all []BenchReading) (sets [][]BenchReading) {
	var names []string
	for _, k := range bench.Kinds() {
		names = append(names, k.Name)
	}
	byName := make(map[string][]BenchReading)
	for _, r := range all {
		name := r.name()
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
		byName[name] = append(byName[name], r)
	}
	for _, name := range names {
		set := byName[name]
		slices.SortStableFunc(set, func(a, b BenchReading) int { return a.Judgement.Reading.Cylinder - b.Judgement.Reading.Cylinder })
		if len(set) > 0 {
			sets = append(sets, set)
		}
	}
	return sets
}

// BenchSentence says in words what stands out.
func BenchSentence(b *Bench) string {
	if len(b.Readings) == 0 {
		return "Nothing was measured by hand yet."
	}
	words := []string{}
	for _, mark := range []bench.Mark{bench.Bad, bench.Suspect} {
		if found := benchMarked(b.Readings, mark); len(found) > 0 {
			words = append(words, say.Capital(b.words().Mark(mark))+": "+strings.Join(found, "; ")+".")
		}
	}
	if len(words) == 0 {
		words = append(words, "Nothing stands out.")
	}
	if n := len(benchMarked(b.Readings, bench.CannotSay)); n > 0 {
		words = append(words, "Not to be judged yet: "+strings.Join(benchMarked(b.Readings, bench.CannotSay), "; ")+".")
	}
	return strings.Join(words, " ")
}

// benchMarked names the kinds that have readings of a mark, with their cylinders.
func benchMarked(all []BenchReading, mark bench.Mark) (found []string) {
	for _, set := range benchSets(all) {
		var cylinders []string
		n := 0
		for _, r := range set {
			if r.Judgement.Mark != mark || r.Judgement.Redone {
				continue
			}
			n++
			if c := fmt.Sprint(r.Judgement.Reading.Cylinder); r.Judgement.Reading.Cylinder > 0 && !slices.Contains(cylinders, c) {
				cylinders = append(cylinders, c)
			}
		}
		switch {
		case n == 0:
		case len(cylinders) == 0:
			found = append(found, set[0].name())
		case len(cylinders) == 1:
			found = append(found, set[0].name()+" of cylinder "+cylinders[0])
		default:
			last := len(cylinders) - 1
			found = append(found, set[0].name()+" of cylinders "+strings.Join(cylinders[:last], ", ")+" and "+cylinders[last])
		}
	}
	return found
}

// WriteBenchKinds writes what can be measured, as text of at most 80 columns. The error is w's.
func WriteBenchKinds(w io.Writer) error {
	var p page
	for _, k := range bench.Kinds() {
		unit := k.Unit
		if unit == "" {
			unit = "words"
		}
		p.paragraph(fmt.Sprintf("%-16s %-6s ", k.Key, unit), k.Name+": "+k.How)
		if len(k.Words) > 0 {
			p.paragraph(strings.Repeat(" ", 24), strings.Join(k.Words, ", "))
		}
		if len(k.Variants) > 0 {
			names := make([]string, len(k.Variants))
			for i, v := range k.Variants {
				names[i] = string(v)
			}
			p.paragraph(strings.Repeat(" ", 24), "--variant "+strings.Join(names, ", "))
		}
	}
	_, err := io.WriteString(w, p.String())
	return err
}
