package report

import (
	"cmp"
	"slices"

	"stumble/misfire"
	"stumble/misfire/rate"
	"stumble/views/report/chart"
)

// fewestFirings is how many firings a spot of the map wants before it shows a rate: with fewer a single miss would
// shout.
const fewestFirings = 200

// mapFigure draws where in load and engine speed the engine misses, all cylinders that are counted together.
func (w *writer) mapFigure(d *Drive) *figure {
	spots := spotsOf(d.Summary)
	return newFigure(chart.Map(spots, chart.Wide), w.tell("caption-map", d.Number), w.mapWords(spots))
}

// spotsOf adds the cells up by load and engine speed, whatever the gear and the warmth.
func spotsOf(s *misfire.Summary) (spots []chart.Spot) {
	for i := range s.Cells {
		c := &s.Cells[i]
		if !c.Reported || !c.Known() {
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
