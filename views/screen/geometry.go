package screen

// needs is what a screen has to hold.
type needs struct {
	w, h     int
	verdict  int // lines of the verdict
	step     int // lines of the test step; 0 when none runs
	alert    bool
	rungs    int
	banks    int
	brackets int  // columns of coil brackets
	gears    int  // columns of gear states
	notes    int  // lines that a reader must know
	blank    bool // the car counts no misses: the rungs need no height
}

// plan says where everything stands. An empty rectangle is left out.
type plan struct {
	verdict, car, whole rect
	ladder, strip       rect
	asides              rect // notes below the ladder, where the screen is tall
	step, alert         rect
	health, keys        rect

	rung     int  // lines a rung
	gaps     bool // an empty line between banks
	caption  bool // the ladder and the strip have a caption line over their headings
	label    int  // width of the rungs' labels
	brackets int  // columns of brackets that found room
	cell     int  // width of a cell, one column of it empty
	total    bool // a last column for the whole drive
	hidden   int  // rungs that found no room
}

const (
	minCell, maxCell            = 9, 24
	airyRung                    = 4 // from this height the last line of a rung is left empty
	maxRung                     = 5
	minAsides                   = 3
	roomForTotal                = 100  // width from which the whole drive has a column
	maxBrackets, widestBrackets = 4, 8 // of a narrow and of a wide screen
)

// arrange lays out a screen that is large enough.
func arrange(n needs) plan {
	var p plan
	rows := rowsFrom(0, n.h)
	p.verdict = rows.top(n.w, n.verdict)
	p.car = rows.top(n.w, 1)
	p.keys = rows.bottom(n.w, 1)
	p.health = rows.bottom(n.w, 1)
	if n.alert {
		p.alert = rows.bottom(n.w, 1)
	}
	p.step = rows.bottom(n.w, min(n.step, max(rows.left()-n.rungs-1, 0)))
	if rows.left() >= 2*n.rungs+3 { // the rungs come first
		p.whole = rows.top(n.w, 1)
	}
	p.caption = rows.left() >= n.rungs+2
	body := rows.top(n.w, rows.left())
	p.columns(n)
	p.rungs(n, body.h)
	p.split(n, body)
	return p
}

// columns shares the width between the ladder and the strip.
func (p *plan) columns(n needs) {
	p.brackets = n.brackets
	if n.brackets > maxBrackets && n.w < roomForTotal || n.brackets > widestBrackets {
		p.brackets = 0
	}
	p.label = 3 + p.brackets
	if p.brackets > 0 {
		p.label++
	}
	if n.banks > 1 {
		p.label += 3
	}
	p.total = n.w >= roomForTotal
	columns := n.gears
	if p.total {
		columns++
	}
	strip := max(n.w*3/10, 18)
	p.cell = min(max((n.w-p.label-1-strip)/columns, minCell), maxCell)
	p.ladder.w = p.label + columns*p.cell
}

// rungs shares the height among the rungs.
func (p *plan) rungs(n needs, h int) {
	h -= p.headings()
	p.rung = min(max(h/max(n.rungs, 1), 1), maxRung)
	switch {
	case n.blank:
		p.rung = 1
	case p.rung == airyRung && h-airyRung*n.rungs <= minAsides && n.notes > 0 && n.rungs > minAsides:
		p.rung-- // what must be known comes before air
	}
	p.gaps = n.banks > 1 && p.rung*n.rungs+n.banks-1 <= h
	p.hidden = max(n.rungs-h, 0)
}

func (p *plan) headings() int {
	if p.caption {
		return 2
	}
	return 1
}

// split parts the body into ladder, asides and strip.
func (p *plan) split(n needs, body rect) {
	used := p.headings() + p.rung*(n.rungs-p.hidden)
	if p.gaps {
		used += n.banks - 1
	}
	p.ladder = rect{body.x, body.y, min(p.ladder.w, body.w), min(used, body.h)}
	if below := body.h - used - 1; below >= minAsides {
		p.asides = rect{body.x, body.y + used + 1, p.ladder.w - 1, below}
	}
	p.strip = rect{body.x + p.ladder.w + 1, body.y, body.w - p.ladder.w - 1, body.h}
}

// rowSpan hands out lines from both ends.
type rowSpan struct{ y, end int }

func rowsFrom(y, h int) *rowSpan { return &rowSpan{y, y + h} }

func (r *rowSpan) left() int { return r.end - r.y }

func (r *rowSpan) top(w, h int) rect {
	h = min(max(h, 0), r.left())
	r.y += h
	return rect{0, r.y - h, w, h}
}

func (r *rowSpan) bottom(w, h int) rect {
	h = min(max(h, 0), r.left())
	r.end -= h
	return rect{0, r.end, w, h}
}

// lanes says where the columns of the strip stand. A width of 0 leaves one out.
type lanes struct {
	time, gear         int // where they begin; time is -1 when it is left out
	first, lane        int // where the first cylinder's lane begins, and the width of each
	rpm, load          int // where the traces begin
	rpmW, loadW        int
	notes, notesW      int
	together           bool // both traces lie over one another in the rpm trace's place
	cylinders, mark, w int  // mark: the column for a mark's sign, -1 when left out
}

const (
	timeW        = 6 // "12:34 "
	minTrace     = 4
	ownTraces    = 17 // from this width each trace has its own place
	maxTrace     = 16
	narrowBeside = 8  // columns that must stay free for lanes of two columns,
	wideBeside   = 24 // and for lanes of three
	minNotes     = 14
	stripMinimum = 2 // over the lanes: gear letter and a gap
)

// arrangeStrip lays out a strip of w columns for so many cylinders; ok is false when not even the lanes fit.
func arrangeStrip(w, cylinders int) (l lanes, ok bool) {
	l = lanes{time: -1, mark: -1, lane: 1, cylinders: cylinders, w: w}
	rest := w - stripMinimum - cylinders
	if cylinders == 0 || rest < 0 {
		return l, false
	}
	if rest >= timeW {
		l.time, rest = 0, rest-timeW
		l.gear = timeW
	}
	for _, beside := range []int{narrowBeside, wideBeside} {
		if rest < cylinders+beside {
			break
		}
		l.lane, rest = l.lane+1, rest-cylinders
	}
	l.first = l.gear + stripMinimum
	next := l.first + l.lane*cylinders
	if rest > 1+minTrace { // the last column is kept for marks
		l.mark, rest = w-1, rest-1
	}
	rest-- // a gap before the traces
	switch {
	case rest < minTrace:
	case rest < ownTraces:
		l.together, l.rpm, l.rpmW = true, next+1, rest
	default:
		each := min((rest-1)/2, maxTrace)
		l.rpm, l.rpmW = next+1, each
		l.load, l.loadW = next+2+each, each
		rest -= 2*each + 1
		if rest > minNotes {
			l.notes, l.notesW = l.load+each+1, rest-1
			l.mark = l.load + each
		}
	}
	return l, true
}
