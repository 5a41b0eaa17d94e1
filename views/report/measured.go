package report

import (
	"math"
	"slices"
	"time"

	"stumble/misfire"
)

// measured tells how the drives were measured.
func (w *writer) measured() {
	t := &table{caption: w.tell("caption-measured"), columns: []column{
		{title: w.tell("col-drive"), firm: true, head: true}, {title: w.tell("col-length"), right: true}, {title: w.tell("col-requests"), right: true, lead: true},
		{title: w.tell("col-refresh")}, {title: w.tell("col-mixed"), right: true}, {title: w.tell("col-unmonitored"), right: true},
		{title: w.tell("col-unknown"), right: true}, {title: w.tell("col-missing")},
	}}
	var adapters, buses []string
	add := func(names []string, name string) []string {
		if name = isolate(name); name == "" || slices.Contains(names, name) {
			return names
		}
		return append(names, name)
	}
	for i := range w.Drives {
		d := &w.Drives[i]
		if !w.inDetail(d) {
			continue
		}
		adapters, buses = add(adapters, d.Adapter), add(buses, d.Protocol)
		s := d.Summary
		mixed := ""
		if s.Counted() {
			mixed = w.percent(100 * mixedShare(d))
		}
		t.add(w.driveName(d), w.length(s.Now.Sub(s.Start)), w.exchangeLines(d), w.refreshLine(d), mixed, w.length(s.Unmonitored),
			w.unknownText(s), w.gapsLine(d))
	}
	if len(t.rows) == 0 {
		return
	}
	w.chapter(w.tell("head-measured"))
	f := facts()
	if len(adapters) > 0 {
		f.add(w.tell("fact-adapter"), w.chain("join-semicolon", adapters))
	}
	if len(buses) > 0 {
		f.add(w.tell("fact-protocol"), w.chain("join-semicolon", buses))
	}
	w.show(f)
	w.show(t)
	w.add(note(w.tell("note-measured")))
}

// exchangeLines is how many requests were made, and how many a second.
func (w *writer) exchangeLines(d *Drive) string {
	length := d.Summary.Now.Sub(d.Summary.Start)
	if d.Exchanges == 0 || length <= 0 {
		return w.tell("word-not-told")
	}
	return w.grouped(float64(d.Exchanges)) + "\n" + w.tell("exchanges-rate", w.figureOf(float64(d.Exchanges)/length.Seconds()))
}

// unknownText is the running that could be laid to no condition.
func (w *writer) unknownText(s *misfire.Summary) string {
	switch u := s.Unknown; {
	case u.Misses > 0:
		return w.length(u.Running) + "\n" + w.counted("count-misses", float64(u.Misses))
	case u.Running > 0:
		return w.length(u.Running)
	}
	return w.tell("word-none")
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

// refreshLine is how often the car brings its counts up to date.
func (w *writer) refreshLine(d *Drive) string {
	r := d.Summary.Refresh
	switch r.Kind {
	case misfire.RefreshAtOnce:
		return w.tell("refresh-at-once")
	case misfire.RefreshRevolutions:
		return w.tell("refresh-revolutions", w.grouped(r.Revolutions))
	case misfire.RefreshSeconds:
		return w.tell("refresh-seconds", w.figureOf(r.Seconds))
	case misfire.RefreshKeyOff:
		return w.tell("refresh-key-off")
	}
	if !d.Summary.Counted() {
		return w.tell("refresh-none")
	}
	return w.tell("refresh-unknown")
}
