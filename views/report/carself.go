package report

import (
	"math"
	"time"

	"stumble/misfire/proof"
	"stumble/obd"
)

// carItself is what the car decides by itself: its cycles, its monitors, and what stands between it and an inspection.
func (w *writer) carItself() {
	if w.Progress == nil && w.Readiness == nil && w.newestIntake() == nil {
		return
	}
	w.chapter(w.tell("head-car-itself"))
	w.say(w.tell("say-car-itself"))
	if w.Progress != nil {
		w.show(w.cycleTable(w.Progress))
		w.show(w.ruleTable(w.Progress))
	}
	if w.Readiness != nil {
		w.subsection(w.tell("head-inspection"))
		w.say(w.asSentence(w.Readiness.Text))
		w.say(w.tell("say-inspection"))
	}
	if in := w.newestIntake(); in != nil {
		w.deeper(func() { w.addReadiness(in.Modules) })
	}
}

// newestIntake is the last whole reading of the car; nil when there is none.
func (w *writer) newestIntake() *obd.Intake {
	if w.After.Intake != nil {
		return w.After.Intake
	}
	return w.Before.Intake
}

// cycleTable is what has been driven of the car's own cycles since the repair.
func (w *writer) cycleTable(p *proof.Progress) *table {
	t := facts()
	t.caption = w.tell("caption-cycles")
	t.add(w.tell("cycles-driving"), w.tell("cycles-driving-text", p.Driving, p.Similar, p.CleanInRow))
	t.add(w.tell("cycles-warm-up"), whole(p.WarmUps))
	t.add(w.tell("cycles-trip"), w.tell("cycles-trip-text", p.Trips, p.CleanTrips))
	if !math.IsNaN(p.ClearWarmUps) || !math.IsNaN(p.ClearKilometres) {
		text := w.quantity(p.ClearWarmUps, obd.Counts)
		t.add(w.tell("cycles-clear"), w.tell("cycles-clear-text", text, w.written(p.ClearKilometres, 0, obd.Kilometres)))
	}
	return t
}

// ruleTable is what the car does by itself and what it still needs.
func (w *writer) ruleTable(p *proof.Progress) *table {
	t := &table{caption: w.tell("caption-rules"), columns: []column{
		{title: w.tell("col-happens"), head: true}, {title: w.tell("col-still-needed")}, {title: w.tell("col-source")},
	}}
	for _, r := range p.Rules() {
		t.add(capital(r.Name), w.asSentence(r.Text), r.Source)
	}
	return t
}

// measured tells how a drive was measured.
func (w *writer) measured(d *Drive) {
	s := d.Summary
	t := facts()
	t.caption = w.tell("caption-measured", d.Number)
	fact := func(name, text string) {
		if text != "" {
			t.add(name, text)
		}
	}
	fact(w.tell("fact-drive"), w.tell("drive-length", w.minute(s.Start), w.length(s.Now.Sub(s.Start)), w.length(s.Running),
		w.counted("count-cycles", float64(s.Cycles))))
	fact(w.tell("fact-adapter"), isolate(d.Adapter))
	fact(w.tell("fact-protocol"), isolate(d.Protocol))
	fact(w.tell("fact-exchanges"), w.exchangesLine(d))
	fact(w.tell("fact-refresh"), w.refreshLine(d))
	if reportsCounts(s) {
		fact(w.tell("fact-mixed"), w.tell("mixed-share", w.percent(100*mixedShare(d))))
	}
	fact(w.tell("fact-unmonitored"), w.length(s.Unmonitored))
	unknown := w.tell("word-none")
	if s.Unknown.Running > 0 || s.Unknown.Misses > 0 {
		unknown = w.tell("unknown-running", w.length(s.Unknown.Running), w.counted("count-misses", float64(s.Unknown.Misses)))
	}
	fact(w.tell("fact-unknown"), unknown)
	fact(w.tell("fact-gaps"), w.gapsLine(d))
	fact(w.tell("fact-lamp-drive"), w.lampName(s.Live.MIL))
	w.show(t)
}

func (w *writer) exchangesLine(d *Drive) string {
	length := d.Summary.Now.Sub(d.Summary.Start)
	if d.Exchanges == 0 || length <= 0 {
		return w.tell("word-not-told")
	}
	return w.tell("exchanges-rate", w.grouped(float64(d.Exchanges)), w.figureOf(float64(d.Exchanges)/length.Seconds()))
}

// mixedShare is the share of all firings that lie in stretches spanning several gear states.
func mixedShare(d *Drive) float64 {
	mixed, firings := 0.0, 0.0
	for i := range d.Summary.ByGear {
		if c := &d.Summary.ByGear[i]; c.Reported && c.Known() {
			mixed += c.Mixed * c.Firings
			firings += c.Firings
		}
	}
	if firings == 0 {
		return math.NaN()
	}
	return mixed / firings
}

func (w *writer) gapsLine(d *Drive) string {
	var missing time.Duration
	for _, g := range d.Gaps {
		missing += g.To.Sub(g.From)
	}
	var parts []string
	if len(d.Gaps) > 0 {
		parts = append(parts, w.tell("gaps-length", w.counted("count-gaps", float64(len(d.Gaps))), w.length(missing)))
	}
	if d.Lost > 0 {
		parts = append(parts, w.counted("count-lost", float64(d.Lost)))
	}
	if d.CutOff {
		parts = append(parts, w.tell("drive-cut-off"))
	}
	if len(parts) == 0 {
		return w.tell("word-none")
	}
	return w.chain("join-semicolon", parts)
}
