package report

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"

	"stumble/misfire/proof"
	"stumble/views/report/chart"
)

// comparison shows before against after, condition by condition, and what the judgement rests on.
func (w *writer) comparison() {
	if w.Proof == nil || w.Proof.Result == nil || w.between == BetweenNothing {
		return
	}
	w.chapter(w.tell("head-comparison", w.deed()))
	w.say(w.tell("say-comparison", w.drivesOf(SideBefore), w.drivesOf(SideAfter), w.deed()))
	w.addChosen(w.Proof.Chosen)
	w.addComparison(w.Proof.Result, w.Proof.Swap)
}

// addChosen says by which rule the drives were chosen, unless the user named them.
func (d *Document) addChosen(rule string) {
	if rule != "" {
		d.say(d.tell("say-chosen", foreign(rule)))
	}
}

// addComparison holds the conditions of both sides against each other and tells what each judgement rests on; s is nil
// when no part was exchanged.
//
// Of a swap both cylinders are held against each other, and nothing is judged as a repair.
func (d *Document) addComparison(r *proof.Comparison, s *proof.SwapResult) {
	if s != nil {
		d.addSwap(s)
		d.addNewcomers(slices.DeleteFunc(slices.Clone(r.Newcomers), func(n proof.Newcomer) bool { return n.Cylinder == s.To }))
		d.add(note(d.tell("note-comparison", d.grouped(r.Tolerance.RPM), d.grouped(r.Tolerance.Load), d.figureOf(r.Ceiling))))
		return
	}
	d.show(d.comparisonTable(r))
	d.picture(d.ratioFigure(r))
	for i := range r.Cylinders {
		d.judgedSo(&r.Cylinders[i])
	}
	d.addNewcomers(r.Newcomers)
	d.add(note(d.tell("note-comparison", d.grouped(r.Tolerance.RPM), d.grouped(r.Tolerance.Load), d.figureOf(r.Ceiling))))
}

// drivesOf names the drives of a side.
func (w *writer) drivesOf(side Side) string {
	var names []string
	for i := range w.Drives {
		if d := &w.Drives[i]; d.Side == side {
			names = append(names, w.tell("drive-on", d.Number, w.day(d.Summary.Start)))
		}
	}
	if len(names) == 0 {
		return w.tell("word-none")
	}
	return w.List(names)
}

func (w *words) comparisonTable(r *proof.Comparison) *table {
	t := &table{
		caption: w.tell("caption-comparison"),
		columns: []column{
			{title: w.tell("col-condition"), head: true}, {title: w.tell("col-before"), right: true, lead: true},
			{title: w.tell("col-after"), right: true, lead: true}, {title: w.tell("col-ratio"), right: true, lead: true}, {title: w.tell("col-state")},
		},
	}
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		t.band(w.tell("cylinder-outcome", c.Cylinder, w.Outcome(c.Outcome)))
		for k := range c.Conditions {
			w.conditionRow(t, &c.Conditions[k])
		}
		if o := c.Overall.Comparison; c.OneRatio && len(c.Conditions) > 1 {
			t.addKind(rowTotal, w.tell("row-all-alike"), "", "", w.ratioLines(o.Ratio, o.Low, o.High), "")
		}
	}
	return t
}

// conditionRow holds the rates of one condition against each other. Where the cylinder showed no fault before, nothing
// is judged.
func (w *words) conditionRow(t *table, c *proof.Condition) {
	state, kind := w.tell("state-no-fault"), rowPlain
	if c.Failing {
		state = w.Outcome(c.Outcome)
		if c.Outcome != proof.Proven {
			kind = rowLoud
		}
	}
	ratio := ""
	if c.After.Firings > 0 {
		ratio = w.ratioLines(c.Ratio.Ratio, c.Ratio.Low, c.Ratio.High)
	}
	t.addKind(kind, w.conditionName(c), w.rateLines(c.Before), w.rateLines(c.After), ratio, state)
}

// conditionName is a condition as a table has it.
func (w *words) conditionName(c *proof.Condition) string {
	switch c.Level {
	case proof.WholeGear:
		return w.tell("condition-whole", w.gearName(c.Where.Gear))
	case proof.Frame:
		return w.tell("condition-frame", c.Code, w.point(c.At))
	}
	return w.tell("condition-at", w.gearName(c.Where.Gear), w.point(c.At))
}

// ratioLines is how many times as often it missed after, and the limits of that.
func (w *words) ratioLines(ratio, low, high float64) string {
	switch {
	case math.IsNaN(ratio):
		return w.tell("ratio-none")
	case math.IsInf(ratio, 1):
		return w.tell("ratio-new") + "\n" + w.tell("range-not-under", w.ratio(low))
	case math.IsInf(high, 1):
		return w.ratio(ratio) + "\n" + w.tell("range-not-under", w.ratio(low))
	}
	return w.ratio(ratio) + "\n" + w.tell("range-between", w.ratio(low), w.ratio(high))
}

// ratioFigure draws the ratios of the conditions that are judged.
func (w *words) ratioFigure(r *proof.Comparison) *figure {
	var ratios []chart.Ratio
	var words []string
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		for k := range c.Conditions {
			cond := &c.Conditions[k]
			if !cond.Failing || !(cond.After.Firings > 0) {
				continue
			}
			label := w.tell("cylinder-in", c.Cylinder, w.conditionName(cond))
			ratios = append(ratios, w.chartRatio(label, cond.Ratio.Ratio, cond.Ratio.Low, cond.Ratio.High))
			words = append(words, w.tell("alt-ratio", label, w.ratioPhrase(cond.Ratio.Ratio, cond.Ratio.Low, cond.Ratio.High)))
		}
		if o := c.Overall.Comparison; c.OneRatio && len(c.Conditions) > 1 {
			label := w.tell("cylinder-in", c.Cylinder, w.tell("row-all-alike"))
			ratios = append(ratios, w.chartRatio(label, o.Ratio, o.Low, o.High))
			ratios[len(ratios)-1].Overall = true
			words = append(words, w.tell("alt-ratio", label, w.ratioPhrase(o.Ratio, o.Low, o.High)))
		}
	}
	return newFigure(func(width vg.Length) *chart.Chart { return w.charts().Ratios(ratios, width) }, w.tell("caption-ratios", w.deed()), w.tell("alt-list", w.chain("join-semicolon", words))).repeating()
}

func (w *words) ratioPhrase(ratio, low, high float64) string {
	switch {
	case math.IsNaN(ratio):
		return w.tell("ratio-none")
	case math.IsInf(ratio, 1):
		return w.tell("ratio-new")
	}
	return w.tell("ratio-phrase", w.ratio(ratio), w.ratio(low), w.ratio(high))
}

// judgedSo says of one cylinder what each judgement rests on.
func (d *Document) judgedSo(c *proof.Cylinder) {
	var lines list
	for i := range c.Conditions {
		if cond := &c.Conditions[i]; cond.Failing {
			lines = append(lines, d.Condition(cond))
		}
	}
	if len(lines) > 0 {
		d.subsection(d.tell("head-judged", c.Cylinder))
		d.add(lines)
	}
}

// addSwap tells both cylinders of a swap side by side.
func (d *Document) addSwap(s *proof.SwapResult) {
	d.subsection(d.tell("head-swap", s.Part, s.A, s.B))
	d.say(d.Swap(s))
	t := &table{
		caption: d.tell("caption-swap"),
		groups:  []span{{"", 1}, {d.tell("cylinder-number", s.From), 2}, {d.tell("cylinder-number", s.To), 2}},
		columns: []column{
			{title: d.tell("col-condition"), head: true}, {title: d.tell("col-before"), right: true, lead: true}, {title: d.tell("col-after"), right: true, lead: true},
			{title: d.tell("col-before"), right: true, lead: true}, {title: d.tell("col-after"), right: true, lead: true},
		},
	}
	for i := range s.Conditions {
		c := &s.Conditions[i]
		t.add(d.conditionName(&c.Condition), d.rateLines(c.Before), d.rateLines(c.After), d.rateLines(c.OtherWas), d.rateLines(c.Other))
	}
	d.show(t)
	if needs := d.needs(s.Needed); len(needs) > 0 {
		d.say(d.tell("say-needed-swap"))
		d.add(needs)
	}
	d.remarks(d.SwapNotes(s))
}

// addNewcomers lists the cylinders that miss now and did not before.
func (d *Document) addNewcomers(newcomers []proof.Newcomer) {
	var lines list
	for _, n := range newcomers {
		line := d.tell("newcomer-line", n.Cylinder, d.inGear(n.Gear), d.figureOf(n.Rate.Rate), d.limits(n.Rate))
		if !n.Moved {
			line = d.tell("newcomer-undriven", line)
		}
		lines = append(lines, d.sentence(line))
	}
	if len(lines) > 0 {
		d.subsection(d.tell("head-newcomers"))
		d.add(lines)
	}
}

// remarks lists notes of the packages below as sentences.
func (d *Document) remarks(notes []string) {
	var lines list
	for _, n := range notes {
		lines = append(lines, d.asSentence(n))
	}
	if len(lines) > 0 {
		d.add(lines)
	}
}
