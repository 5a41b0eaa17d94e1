package report

import (
	"math"
	"slices"
	"time"

	"gonum.org/v1/plot/vg"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/views/report/chart"
)

// drives shows what was counted in each drive that the report rests on, after a table of all.
func (w *writer) drives() {
	if len(w.Drives) == 0 {
		return
	}
	w.chapter(w.tell("head-drives"))
	w.show(w.driveTable())
	if slices.ContainsFunc(w.Drives, func(d Drive) bool { return w.inDetail(&d) && d.Summary.Counted() }) {
		w.add(note(w.tell("note-rates")))
	}
	for i := range w.Drives {
		if w.inDetail(&w.Drives[i]) {
			w.drive(&w.Drives[i])
		}
	}
	w.show(w.wholeTable())
}

// inDetail reports whether a drive has a section of its own: one that is compared, or any where nothing is.
func (w *writer) inDetail(d *Drive) bool {
	return w.Proof == nil || w.Proof.Result == nil || w.between == BetweenNothing || d.Side != SideNone
}

func (w *writer) driveTable() *table {
	t := &table{caption: w.tell("caption-drives"), columns: []column{
		{title: w.tell("col-drive"), firm: true, head: true}, {title: w.tell("col-driven"), firm: true}, {title: w.tell("col-shows")},
	}}
	for i := range w.Drives {
		d := &w.Drives[i]
		t.add(w.driveName(d), w.minute(d.Summary.Start)+"\n"+w.length(d.Summary.Running), w.Verdict(d.Summary))
	}
	return t
}

// driveName is a drive's number and side, with its name below.
func (w *writer) driveName(d *Drive) string {
	name := whole(int(d.Number))
	switch d.Side {
	case SideBefore:
		name = w.tell("drive-before", d.Number)
	case SideAfter:
		name = w.tell("drive-after", d.Number)
	}
	if own := isolate(d.Name); own != "" {
		name += "\n" + own
	}
	return name
}

// drive is the section of one drive.
func (w *writer) drive(d *Drive) {
	switch d.Side {
	case SideBefore:
		w.subsection(w.tell("head-drive-before", d.Number, w.deed()))
	case SideAfter:
		w.subsection(w.tell("head-drive-after", d.Number, w.deed()))
	default:
		w.subsection(w.tell("head-drive", d.Number))
	}
	s := d.Summary
	w.say(w.Verdict(s))
	if s.Counted() {
		w.show(w.rateTable(d))
		w.remarks(w.cellRemarks(s))
		w.say(w.originLine(s))
		w.picture(w.stripFigure(d))
		if misses(s) { // of a clean drive they would show nothing that the table does not
			w.picture(w.rateFigure(d))
			w.picture(w.mapFigure(d))
		}
	} else {
		w.say(w.tell("say-no-cylinder-counts"))
		w.show(w.idleTable(d))
		w.picture(w.stripFigure(d))
	}
}

// misses reports whether a drive shows more than a stray miss.
func misses(s *misfire.Summary) bool {
	const stray = 3
	all := 0.0
	for i := range s.Total {
		all += s.Total[i].Misses
	}
	return all >= stray || len(s.Verdict.Named()) > 0
}

// rateTable has a row for each cylinder and a column for each gear state that was driven.
func (w *writer) rateTable(d *Drive) *table {
	s := d.Summary
	gears := gearsSeen(s)
	t := &table{caption: w.tell("caption-rates", d.Number), columns: []column{{title: w.tell("col-cylinder"), head: true}}}
	for _, g := range gears {
		t.columns = append(t.columns, column{title: w.gearName(g), right: true, lead: true})
	}
	t.columns = append(t.columns, column{title: w.tell("col-whole-drive"), right: true, lead: true})
	for i := range s.Total {
		total := &s.Total[i]
		kind, name := rowPlain, whole(total.Cylinder)
		if slices.Contains(s.Verdict.Named(), total.Cylinder) {
			kind, name = rowLoud, name+"\n"+w.tell("word-misses")
		}
		cells := []string{name}
		for _, g := range gears {
			cells = append(cells, w.cell(cellOf(s, total.Cylinder, g)))
		}
		t.addKind(kind, append(cells, w.cell(total))...)
	}
	return t
}

// cellOf is the rate of a cylinder in a gear state; nil where it has none.
func cellOf(s *misfire.Summary, cylinder int, g gear.State) *misfire.Cell {
	for i := range s.ByGear {
		if c := &s.ByGear[i]; c.Cylinder == cylinder && c.Condition.Gear == g {
			return c
		}
	}
	return nil
}

func (w *words) cell(c *misfire.Cell) string {
	switch {
	case c == nil:
		return w.tell("word-not-driven")
	case !c.Reported:
		return w.tell("word-not-told")
	}
	return w.rateLines(c.Estimate)
}

// unwidened is the dispersion up to which limits are as good as those of independent misses.
const unwidened = 1.005

// cellRemarks says what keeps rates from being taken as they stand.
func (w *writer) cellRemarks(s *misfire.Summary) (remarks []string) {
	for i := range s.Total {
		c := &s.Total[i]
		whole := w.remarksOn(s, c)
		for _, r := range whole {
			remarks = append(remarks, w.tell("remark-cylinder", c.Cylinder, r))
		}
		for k := range s.ByGear {
			g := &s.ByGear[k]
			if g.Cylinder != c.Cylinder {
				continue
			}
			for _, r := range w.remarksOn(s, g) {
				if slices.Contains(whole, r) {
					continue // told of the whole drive
				}
				remarks = append(remarks, w.tell("remark-cylinder-gear", c.Cylinder, w.inGear(g.Condition.Gear), r))
			}
		}
	}
	return remarks
}

// remarksOn is what is special about one rate.
func (w *writer) remarksOn(s *misfire.Summary, c *misfire.Cell) (remarks []string) {
	add := func(is bool, text string) {
		if is {
			remarks = append(remarks, text)
		}
	}
	worse := w.tell("remark-worse")
	if !c.Since.IsZero() {
		worse = w.tell("remark-worse-since", into(c.Since.Sub(s.Start)))
	}
	add(c.Worsening, worse)
	add(c.Judged && c.Phi > unwidened, w.tell("remark-bursts", w.figureOf(c.Phi)))
	add(c.Still, w.tell("remark-still"))
	add(c.AtLeast, w.tell("remark-at-end"))
	add(c.Overcounted(), w.tell("remark-overcounted"))
	add(!c.Apart && c.Mixed > 0, w.tell("remark-not-apart"))
	return remarks
}

// originLine says who told the gear states.
func (w *writer) originLine(s *misfire.Summary) string {
	var parts []string
	for _, g := range gearsSeen(s) {
		for i := range s.ByGear {
			if c := &s.ByGear[i]; c.Condition.Gear == g {
				parts = append(parts, w.tell("origin-of", w.gearName(g), w.originName(c.Origin)))
				break
			}
		}
	}
	return w.tell("remark-origins", w.Commas(parts))
}

func (w *writer) rateFigure(d *Drive) *figure {
	var rates []chart.Rate
	for i := range d.Summary.ByGear {
		c := &d.Summary.ByGear[i]
		r := chart.Rate{Cylinder: c.Cylinder, Gear: c.Condition.Gear, Rate: math.NaN(), Low: math.NaN(), High: math.NaN()}
		if c.Reported && c.Known() {
			r.Rate, r.Low, r.High = c.Rate, c.Low, c.High
		}
		rates = append(rates, r)
	}
	return newFigure(func(width vg.Length) *chart.Chart { return w.charts().Rates(rates, w.ceiling(), width) }, w.tell("caption-rate-chart", d.Number), w.tell("alt-rates")).repeating()
}

// ceiling is the rate up to which a cylinder counts as healthy.
func (w *writer) ceiling() float64 {
	if w.Proof != nil && w.Proof.Result != nil {
		return w.Proof.Result.Ceiling
	}
	return rate.Ceiling
}

func (w *writer) stripFigure(d *Drive) *figure {
	s := d.Summary
	strip := chart.Drive{Moments: d.Moments, Cylinders: s.Engine.Cylinders}
	for i := range s.Total {
		if !s.Total[i].Reported {
			strip.Uncounted = append(strip.Uncounted, s.Total[i].Cylinder)
		}
	}
	for _, m := range d.Marks {
		strip.Marks = append(strip.Marks, m.At)
	}
	return newFigure(func(width vg.Length) *chart.Chart { return w.charts().Strip(strip, width) }, w.tell("caption-strip", d.Number), w.stripWords(d))
}

// stripWords tells what the strip shows: for how long each gear was in, and the misses of each cylinder.
func (w *writer) stripWords(d *Drive) string {
	var seconds [gear.States]int
	var misses [16]int
	for i := range d.Moments {
		m := &d.Moments[i]
		if int(m.Gear) < len(seconds) {
			seconds[m.Gear]++
		}
		for k, n := range m.Misses {
			misses[k] += int(n)
		}
	}
	var gears, counts []string
	for _, g := range gear.Order() {
		if n := seconds[g]; n > 0 {
			gears = append(gears, w.tell("alt-gear", w.gearName(g), w.length(time.Duration(n)*time.Second)))
		}
	}
	for i := range d.Summary.Total {
		if c := &d.Summary.Total[i]; c.Reported {
			counts = append(counts, w.tell("alt-cylinder", c.Cylinder, w.grouped(float64(misses[c.Cylinder-1]))))
		}
	}
	if len(counts) == 0 {
		return w.tell("alt-strip-gears", w.Commas(gears))
	}
	return w.tell("alt-strip", w.Commas(gears), w.Commas(counts))
}

// idleTable shows how often the idle dipped, where nothing is counted.
func (w *writer) idleTable(d *Drive) *table {
	t := &table{caption: w.tell("caption-idle", d.Number), columns: []column{
		{title: w.tell("col-gear"), head: true}, {title: w.tell("col-dips"), right: true}, {title: w.tell("col-idle-minutes"), right: true},
		{title: w.tell("col-dips-minute"), right: true},
	}}
	for _, i := range d.Summary.Idle {
		if i.Minutes > 0 {
			t.add(w.gearName(i.Gear), w.grouped(float64(i.Dips)), w.figureOf(i.Minutes),
				w.tell("figure-limits", w.figureOf(i.PerMinute()), w.limit(i.Low), w.limit(i.High)))
		}
	}
	return t
}

// wholeTable shows the whole engine against the limits of the two evaluations, a row for each drive.
func (w *writer) wholeTable() *table {
	t := &table{
		caption: w.tell("caption-whole"),
		groups: []span{
			{"", 1}, {w.tell("block-catalyst"), 3}, {w.tell("block-emission"), 3},
		},
		columns: []column{{title: w.tell("col-drive"), firm: true, head: true}},
	}
	for range 2 {
		t.columns = append(t.columns, column{title: w.tell("col-worst"), right: true}, column{title: w.tell("col-limit"), right: true, lead: true},
			column{title: w.tell("col-blocks-over"), right: true})
	}
	for i := range w.Drives {
		d := &w.Drives[i]
		whole := d.Summary.Whole
		if !w.inDetail(d) || whole.Catalyst.Blocks == 0 && whole.Emission.Blocks == 0 {
			continue
		}
		kind := rowPlain
		if whole.Catalyst.Over > 0 || whole.Emission.Over > 0 {
			kind = rowLoud
		}
		t.addKind(kind, append(append([]string{w.driveName(d)}, w.blockCells(whole.Catalyst)...), w.blockCells(whole.Emission)...)...)
	}
	return t
}

// blockCells are the worst block, the limit and whose it is, and how many blocks were over it.
func (w *words) blockCells(b misfire.Block) []string {
	if b.Blocks == 0 || math.IsNaN(b.Worst) {
		return []string{w.tell("word-none"), "", ""}
	}
	from := w.tell("limit-usual")
	if b.Reported {
		from = w.tell("limit-reported")
	}
	return []string{w.percent(b.Worst), w.percent(b.Limit) + "\n" + from, w.ofFirings(float64(b.Over), float64(b.Blocks))}
}
