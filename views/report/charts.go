package report

import (
	"strings"

	"stumble/views/report/chart"
)

// charts are the charts in the words of the page. Figures in them are written as those of its tables.
func (w *words) charts() *chart.Words {
	return &chart.Words{
		Gear:  w.gearName,
		Rate:  w.figureOf,
		Of:    func(misses, firings float64) string { return w.tell("chart-of", w.grouped(misses), w.grouped(firings)) },
		Under: func(limit string) string { return w.tell("range-under", limit) },
		Range: func(low, high string) string { return w.tell("range-between", low, high) },
		More:  func(low string) string { return w.tell("at-least", low) },
		None:  w.tell("word-none"), Cylinder: w.tell("col-cylinder"),
		PerThousand: w.tell("chart-rates"), Limits: w.tell("chart-limits"), NoCount: w.tell("chart-no") + "\n" + w.tell("chart-count"),
		Healthy: func(rate string) string { return w.tell("chart-healthy", rate) },
		RPM:     w.tell("chart-rpm"), Load: w.tell("chart-load"), Marked: w.tell("chart-marks"), NotJudged: w.tell("chart-not-judged"),
		Spread: w.tell("chart-spread"), Ticks: w.tell("chart-ticks"), NotRecorded: w.tell("chart-blank"),
		Minutes: w.tell("chart-minutes"), Hours: w.tell("chart-hours"),
		EachTick: func(s int) string { return w.tell("chart-each", s) },
		Ratio:    w.tell("chart-ratios", w.deed()), Fewer: w.tell("chart-fewer"), Most: w.tell("chart-more"),
		Speed: w.tell("chart-speed"), LoadBand: w.tell("chart-load-band"), TooLittle: w.tell("chart-too-little"),
	}
}

// chartRatio is one line of the chart of ratios.
func (w *words) chartRatio(label string, ratio, low, high float64) chart.Ratio {
	text, limits, told := strings.Cut(w.ratioLines(ratio, low, high), "\n")
	if told {
		text = w.tell("chart-ratio", text, limits)
	}
	return chart.Ratio{Label: bare(label), Text: text, Ratio: ratio, Low: low, High: high}
}
