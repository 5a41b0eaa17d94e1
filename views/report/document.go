package report

import "time"

// Document is a page before it is laid out: what there is to say, in order, nothing of which knows how wide a line
// is. [Document.WriteText] and its sisters for HTML and PDF lay out the same blocks, so that each form says the same.
//
// Texts are plain. A newline parts paragraphs within a cell; [wrap.FirmSpace] joins a figure to its unit; names from outside
// stand between [isolate]'s marks, so that one written from right to left does not shuffle what is beside it.
type Document struct {
	*words            // that it is written in
	paper   Paper     // that it may be printed on
	made    time.Time // when; a file may say so of itself
	title   string    // names the page where it is listed: the window, the file
	running []string  // what else tells it from another such page, for sheets that get apart
	depth   int       // how many sections the one being written stands in
	blocks  []block
}

// block is one piece of a document: a value of one of the types below, tables and figures by pointer.
type block interface{ isBlock() }

func (masthead) isBlock()   {}
func (heading) isBlock()    {}
func (finding) isBlock()    {}
func (paragraph) isBlock()  {}
func (note) isBlock()       {}
func (caution) isBlock()    {}
func (list) isBlock()       {}
func (*table) isBlock()     {}
func (*figure) isBlock()    {}
func (signatures) isBlock() {}
func (pageBreak) isBlock()  {}

type (
	// masthead is who hands the page over; the logo is nil when there is none.
	masthead struct {
		name  string
		lines []string // address and the like
		logo  *Logo
	}
	heading struct {
		level int // 1 is the title, of which there is one
		text  string
	}
	// finding is what the page comes to, in a sentence: larger than all but the title.
	finding struct {
		tone tone
		word string // the outcome in a word or two
		text string
	}
	paragraph string
	note      string // small print: how a figure is meant
	caution   string // a paragraph that must not be overlooked
	list      []string
	// signatures are lines to write on.
	signatures []signature
	// pageBreak is where a printed page may well end: what follows begins a chapter.
	pageBreak struct{}
)

// signature is one line to sign on, and the room beside it for the date.
type signature struct{ who, date string }

// tone is how a finding is meant, beside its words.
type tone uint8

const (
	toneOpen tone = iota // not known yet
	toneGood
	toneBad
)

// table is rows of cells under titles. Without any title it has no head.
type table struct {
	caption string // what the table is, told above it
	groups  []span // a line of titles above the others, over several columns each; empty when there is none
	columns []column
	rows    []row
}

// span is a title over so many columns; an empty title leaves them bare.
type span struct {
	title string
	over  int
}

type column struct {
	title string
	right bool // set against the right edge, as figures are
	firm  bool // keeps its width while others can still give way
	head  bool // its cells name their rows
	lead  bool // the first line of a cell is what counts, the others explain it
}

// row is one row of a table. A cell may hold several paragraphs, parted by newlines.
type row struct {
	kind  rowKind
	cells []string // one a column; of a band one alone, over all columns
}

type rowKind uint8

const (
	rowPlain rowKind = iota
	rowBand          // a line over all columns that names the rows below it
	rowTotal         // sums up the rows above it
	rowLoud          // what the reader should look at first
)

func (t *table) add(cells ...string)                { t.addKind(rowPlain, cells...) }
func (t *table) band(text string)                   { t.addKind(rowBand, text) }
func (t *table) addKind(k rowKind, cells ...string) { t.rows = append(t.rows, row{k, cells}) }

func (t *table) titled() bool {
	for _, c := range t.columns {
		if c.title != "" {
			return true
		}
	}
	return false
}

// facts is a table of names and what is known of them, without a head.
func facts() *table { return &table{columns: []column{{firm: true, head: true}, {}}} }

func newDocument(u Units) *Document { return &Document{words: english(u)} }

func (d *Document) add(b block) { d.blocks = append(d.blocks, b) }

// head, section, subsection and say add a block; say leaves out what is empty.
func (d *Document) head(text string) {
	d.title = bare(text)
	d.add(heading{1, text})
}

func (d *Document) section(text string)    { d.add(heading{2 + d.depth, text}) }
func (d *Document) subsection(text string) { d.add(heading{3 + d.depth, text}) }
func (d *Document) say(text string) {
	if text != "" {
		d.add(paragraph(text))
	}
}

// deeper has do write sections within the present one.
func (d *Document) deeper(do func()) {
	d.depth++
	do()
	d.depth--
}

// show adds a table, unless it has no rows.
func (d *Document) show(t *table) {
	if len(t.rows) > 0 {
		d.add(t)
	}
}
