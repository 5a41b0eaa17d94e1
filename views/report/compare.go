package report

import (
	"io"
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/proof"
	"stumble/views/say"
)

// Comparison is all there is to tell of drives before a repair against drives after it.
type Comparison struct {
	Job           int64  // of the drives; 0 where they are of several
	Vehicle       string // its name
	Between       Between
	Before, After []Compared
	Chosen        string // by which rule the drives were chosen; empty when the user named them
	Result        *proof.Comparison
	Swap          *proof.SwapResult // nil when no part was exchanged
	Codes         CodesRead
	Readiness     *proof.Readiness // after; nil when not read
	Rules         []proof.Rule     // what the car does by itself, and what it still needs
	Causes        *cause.Result    // what may be behind it where it misses still; else nil
}

// Compared is one drive of a comparison.
type Compared struct {
	Drive   int64
	Summary *misfire.Summary
	Heard   *cause.Collector // what the causes want of the drive beside its summary; may be nil
}

// CodesRead is when the trouble codes that are compared were read; the zero time is never.
type CodesRead struct{ Before, After time.Time }

// WriteComparison writes a comparison as text for people, no line longer than width cells: the verdict and what is still
// wanted, what was compared, and what a reader must know. An error says that width is too small, or what w reported.
func WriteComparison(w io.Writer, c *Comparison, width int) error {
	d := newDocument(Metric)
	d.between = c.Between
	if c.Between == BetweenNothing {
		return d.untold(c).WriteText(w, width)
	}
	d.head(d.tell("head-comparison", d.deed()))
	r := c.Result
	d.addVerdict(r, c.Swap, d.Finding(r))
	if c.Causes != nil && len(c.Causes.Ranked) > 0 && !followed(c.Swap) {
		d.say(d.Causes(c.Causes))
	}
	d.section(d.tell("head-compared"))
	d.show(d.comparedTable(c))
	d.addChosen(c.Chosen)
	if c.Between == BetweenNamed && c.Job != 0 {
		d.say(d.tell("say-named", c.Job))
	}
	d.addComparison(r, c.Swap)
	d.addCodeChange(c)
	d.section(d.tell("head-car-itself"))
	d.say(d.tell("say-car-itself"))
	d.show(d.ruleTable(c.Rules))
	d.addInspection(c.Readiness)
	d.section(d.tell("head-unknown"))
	lines := d.notCompared(r)
	for _, n := range d.ComparisonNotes(r) {
		lines = append(lines, d.asSentence(n))
	}
	d.add(lines)
	return d.WriteText(w, width)
}

// followed reports whether a swap named the part.
func followed(s *proof.SwapResult) bool { return s != nil && s.Verdict == proof.FollowedPart }

// untold tells of drives between which nobody told of anything: what each showed, and the question.
func (d *Document) untold(c *Comparison) *Document {
	d.head(d.tell("head-untold"))
	d.add(finding{toneOpen, d.tell("outcome-untold"), d.Untold(c.Result)})
	d.say(d.tell("say-untold", c.Job))
	if c.Causes != nil && len(c.Causes.Ranked) > 0 {
		d.say(d.Causes(c.Causes))
	}
	d.section(d.tell("head-compared"))
	d.show(d.comparedTable(c))
	d.addChosen(c.Chosen)
	var lines list
	for _, drive := range append(append([]Compared(nil), c.Before...), c.After...) {
		lines = append(lines, d.tell("untold-drive", drive.Drive, d.Verdict(drive.Summary)))
	}
	d.add(lines)
	return d
}

// comparedTable has a row for each drive.
func (w *words) comparedTable(c *Comparison) *table {
	t := facts()
	if c.Vehicle != "" {
		t.add(w.tell("fact-vehicle"), isolate(c.Vehicle))
	}
	for _, side := range []struct {
		name   string
		drives []Compared
	}{{w.tell("col-before"), c.Before}, {w.tell("col-after"), c.After}} {
		name := say.Capital(side.name)
		for _, d := range side.drives {
			s := d.Summary
			t.add(name, w.tell("compared-drive", d.Drive, w.minute(s.Start), w.length(s.Now.Sub(s.Start)), w.length(s.Running)))
			name = ""
		}
	}
	return t
}

// addCodeChange says what became of the trouble codes, or at which time they were not read.
func (d *Document) addCodeChange(c *Comparison) {
	d.section(d.tell("title-codes"))
	switch {
	case c.Result.Codes != nil:
		d.say(d.tell("say-codes-read", d.minute(c.Codes.Before), d.minute(c.Codes.After), d.deed()))
		d.add(list(d.CodeChange(c.Result.Codes)))
	case c.Codes.Before.IsZero():
		d.say(d.tell("say-codes-unread-before", d.deed()))
	default:
		d.say(d.tell("say-codes-unread-after", d.deed()))
	}
}
