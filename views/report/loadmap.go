package report

import (
	"cmp"
	"slices"

	"gonum.org/v1/plot/vg"

	"stumble/misfire"
	"stumble/misfire/rate"
	"stumble/views/report/chart"
)

// fewestFirings is how many firings a spot of the map wants before it shows a rate: with fewer a single miss would
// shout.
const fewestFirings = 200

// mapFigure draws where in load and engine speed the engine misses: the cylinders that the drive names, so that its rates
// are those of the tables; where it names none, all that are counted together.
func (w *writer) mapFigure(d *Drive) *figure {
	named := d.Summary.Verdict.Named()
	spots := spotsOf(d.Summary, named)
	caption := w.tell("caption-map", d.Number)
	if len(named) > 0 {
		caption = w.Count("caption-map-of", float64(len(named)), d.Number, w.Cylinders(named))
	}
	f := newFigure(func(width vg.Length) *chart.Chart { return w.charts().Map(spots, width) }, caption, w.mapWords(spots))
	if f != nil {
		f.data = w.mapTable(spots)
	}
	return f
}

// mapTable is the map with a row for each load, the highest first, and a column for each engine speed that was driven.
func (w *writer) mapTable(spots []chart.Spot) *table {
	var driven [misfire.RPMBands]bool
	for _, p := range spots {
		driven[p.RPM] = true
	}
	t := &table{columns: []column{{title: w.tell("col-load"), firm: true, head: true}}}
	for rpm, is := range driven {
		if is {
			t.columns = append(t.columns, column{title: misfire.RPMBand(rpm).String(), right: true, lead: true})
		}
	}
	for load := misfire.LoadBands - 1; load >= 0; load-- {
		cells := []string{misfire.LoadBand(load).String()}
		any := false
		for rpm, is := range driven {
			if !is {
				continue
			}
			k := slices.IndexFunc(spots, func(p chart.Spot) bool { return int(p.Load) == load && int(p.RPM) == rpm })
			if k < 0 {
				cells = append(cells, "")
				continue
			}
			any = true
			cells = append(cells, w.spotText(&spots[k]))
		}
		if any {
			t.add(cells...)
		}
	}
	return t
}

// spotText is a spot's rate and the counts behind it; of a thin one the counts alone.
func (w *writer) spotText(p *chart.Spot) string {
	counts := w.ofFirings(p.Misses, p.Firings)
	if p.Thin {
		return counts
	}
	return w.figureOf(p.Rate) + "\n" + counts
}

// spotsOf adds the cells of some cylinders up by load and engine speed, whatever the gear and the warmth; of all where none is
// named.
func spotsOf(s *misfire.Summary, named []int) (spots []chart.Spot) {
	for i := range s.Cells {
		c := &s.Cells[i]
		if !c.Reported || !c.Known() || len(named) > 0 && !slices.Contains(named, c.Cylinder) {
			continue
		}
		k := slices.IndexFunc(spots, func(p chart.Spot) bool { return p.Load == c.Condition.Load && p.RPM == c.Condition.RPM })
		if k < 0 {
			k = len(spots)
			spots = append(spots, chart.Spot{Load: c.Condition.Load, RPM: c.Condition.RPM})
		}
		spots[k].Misses += c.Misses
		spots[k].Firings += c.Firings
	}
	for i := range spots {
		p := &spots[i]
		p.Rate = rate.Interval(min(p.Misses, p.Firings), p.Firings, 1).Rate
		p.Thin = p.Firings < fewestFirings
	}
	slices.SortFunc(spots, func(a, b chart.Spot) int {
		return cmp.Or(cmp.Compare(a.Load, b.Load), cmp.Compare(a.RPM, b.RPM))
	})
	return spots
}

// mapWords tells every spot of the map.
func (w *writer) mapWords(spots []chart.Spot) string {
	var parts []string
	for _, p := range spots {
		counts := w.ofFirings(p.Misses, p.Firings)
		if p.Thin {
			parts = append(parts, w.tell("spot-thin", p.Load, p.RPM, counts))
		} else {
			parts = append(parts, w.tell("spot-rate", p.Load, p.RPM, w.figureOf(p.Rate), counts))
		}
	}
	return w.tell("alt-list", w.chain("join-semicolon", parts))
}
