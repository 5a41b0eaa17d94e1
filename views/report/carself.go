package report

import (
	"math"

	"stumble/misfire/proof"
	"stumble/obd"
	"stumble/views/say"
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
		w.show(w.ruleTable(w.Progress.Rules()))
	}
	w.addInspection(w.Readiness)
	if in := w.newestIntake(); in != nil {
		w.deeper(func() { w.addReadiness(in.Modules) })
	}
}

// addInspection says what stands between the car and its inspection; nil when its readiness was not read.
func (d *Document) addInspection(r *proof.Readiness) {
	if r != nil {
		d.subsection(d.tell("head-inspection"))
		d.say(d.asSentence(d.Words.Readiness(r)))
		d.say(d.tell("say-inspection"))
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
	t.caption = w.tell("caption-cycles", w.deed())
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
func (w *words) ruleTable(rules []proof.Rule) *table {
	t := &table{caption: w.tell("caption-rules"), columns: []column{
		{title: w.tell("col-happens"), head: true}, {title: w.tell("col-still-needed")}, {title: w.tell("col-source")},
	}}
	for _, r := range rules {
		said := w.Rule(r)
		t.add(say.Capital(said.Happens), w.asSentence(said.Text), said.Source)
	}
	return t
}
