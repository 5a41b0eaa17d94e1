package report

// document is a page before it is laid out.
type document struct {
	blocks []block
}

// block is one piece of a document: heading, paragraph, caution, list or *table.
type block any

type (
	heading struct {
		level int // 1 is the title
		text  string
	}
	paragraph string
	caution   string // a paragraph that must not be overlooked
	list      []string
)

// table is rows of cells under titles. Without any title it has no head. A cell may hold several
// paragraphs, parted by newlines.
type table struct {
	columns []column
	rows    [][]string
}

type column struct {
	title string
	right bool // set against the right edge, as figures are
	firm  bool // keeps its width while others can still give way
}

func (t *table) add(cells ...string) { t.rows = append(t.rows, cells) }

func (t *table) titled() bool {
	for _, c := range t.columns {
		if c.title != "" {
			return true
		}
	}
	return false
}

// facts is a table of names and what is known of them, without a head.
func facts() *table { return &table{columns: []column{{firm: true}, {}}} }

func (d *document) add(b block) { d.blocks = append(d.blocks, b) }

// title, section and say add a block; say leaves out what is empty.
func (d *document) title(text string)   { d.add(heading{1, text}) }
func (d *document) section(text string) { d.add(heading{2, text}) }
func (d *document) say(text string) {
	if text != "" {
		d.add(paragraph(text))
	}
}

// show adds a table, unless it has no rows.
func (d *document) show(t *table) {
	if len(t.rows) > 0 {
		d.add(t)
	}
}
