package report

import (
	"math"
	"strconv"
	"time"

	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/views/say"
	"stumble/views/say/catalogue"
	"stumble/views/wrap"
)

// grouped writes a whole number with its thousands parted: "38,412".
func (w *words) grouped(v float64) string {
	if !finite(v) {
		return w.tell("word-no-number")
	}
	return say.Grouped(v)
}

// counted is a message about a whole number of things, written with its thousands parted.
func (w *words) counted(key catalogue.Key, n float64, more ...any) string {
	return w.Count(key, math.Round(n), append([]any{w.grouped(n)}, more...)...)
}

// figureOf writes a rate so that it has two or three digits that say something. None is never
// written as a little, nor a little as none.
func (w *words) figureOf(v float64) string {
	switch {
	case !finite(v):
		return w.tell("word-no-number")
	case v == 0:
		return "0"
	case v > 0 && v < 0.005:
		return w.tell("range-under", "0.005")
	case v < 0.0995:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v < 99.95:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return w.grouped(v)
}

// limit writes a limit of a rate, which nobody knows to a tenth: whole from ten on.
func (w *words) limit(v float64) string {
	if v >= 9.95 && !math.IsInf(v, 1) {
		return w.grouped(v)
	}
	return w.figureOf(v)
}

// ratio writes how many times as often: "0.08", "15".
func (w *words) ratio(v float64) string {
	switch {
	case !finite(v):
		return w.tell("word-no-number")
	case v == 0:
		return "0"
	case v < 0.005:
		return w.tell("range-under", "0.005")
	case v < 9.995:
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return w.grouped(v)
}

// limits writes the 95 % limits of a rate.
func (w *words) limits(e rate.Estimate) string {
	if e.AtLeast || math.IsInf(e.High, 1) {
		return w.tell("range-not-under", w.limit(e.Low))
	}
	return w.tell("range-between", w.limit(e.Low), w.limit(e.High))
}

// compact writes a count so short that a narrow column need not break it, which would make two numbers of one.
func (w *words) compact(v float64) string {
	const million = 1e6
	if v < million-0.5 || !finite(v) {
		return w.grouped(v)
	}
	return w.tell("figure-millions", strconv.FormatFloat(v/million, 'f', 2, 64))
}

// ofFirings is the counts behind a rate.
func (w *words) ofFirings(misses, firings float64) string {
	return w.tell("rate-of", w.compact(misses), w.compact(firings))
}

// rateLines is a rate, its limits and the counts behind it, a line each.
func (w *words) rateLines(e rate.Estimate) string {
	if !e.Known() {
		return w.tell("word-not-driven")
	}
	first := w.figureOf(e.Rate)
	if e.AtLeast {
		first = w.tell("at-least", w.figureOf(e.Low))
	}
	return first + "\n" + w.limits(e) + "\n" + w.ofFirings(e.Misses, e.Firings)
}

// percent writes a share of the whole; a little is not nothing.
func (w *words) percent(v float64) string {
	switch {
	case !finite(v):
		return w.tell("word-no-number")
	case v > 0 && v < 0.05:
		return w.tell("range-under", "0.05"+wrap.FirmSpace+"%")
	case v < 9.95 && v != 0:
		return strconv.FormatFloat(v, 'f', 1, 64) + wrap.FirmSpace + "%"
	}
	return w.grouped(v) + wrap.FirmSpace + "%"
}

// length writes a stretch of time to the second.
func (w *words) length(d time.Duration) string {
	s := int(d.Round(time.Second) / time.Second)
	hours, minutes, seconds := s/3600, s/60%60, s%60
	switch {
	case hours > 0:
		return w.tell("length-hours", hours, minutes)
	case minutes > 0 && seconds > 0:
		return w.tell("length-minutes", minutes, seconds)
	case minutes > 0:
		return w.tell("time-minutes", minutes)
	}
	return w.tell("time-seconds", seconds)
}

// into writes a time of a drive as the clock that began with it: "02:10", "1:02:10".
func into(d time.Duration) string {
	s := max(0, int(d.Round(time.Second)/time.Second))
	two := func(n int) string { return strconv.Itoa(n/10) + strconv.Itoa(n%10) }
	if s >= 3600 {
		return strconv.Itoa(s/3600) + ":" + two(s/60%60) + ":" + two(s%60)
	}
	return two(s/60) + ":" + two(s%60)
}

// day and minute write a time as a reader in any country understands it (ISO 8601).
func (w *words) day(t time.Time) string {
	if t.IsZero() {
		return w.tell("word-not-told")
	}
	return t.Format("2006-01-02")
}

func (w *words) minute(t time.Time) string {
	if t.IsZero() {
		return w.tell("word-not-told")
	}
	return t.Format("2006-01-02") + wrap.FirmSpace + t.Format("15:04")
}

// runningTime is a running time still wanted, rounded up; beyond ten hours it says no more than that.
func (w *words) runningTime(minutes float64) string {
	switch {
	case math.IsNaN(minutes) || minutes > 600:
		return w.tell("time-too-long")
	case minutes > 90:
		return w.tell("time-hours", strconv.FormatFloat(math.Ceil(minutes/6)/10, 'f', 1, 64))
	}
	return w.tell("time-minutes", w.grouped(math.Max(1, math.Ceil(minutes-1e-9))))
}

// gearNames are the keys of the gear states as a table has them.
var gearNames = [gear.States]catalogue.Key{
	gear.Unknown: "gear-unknown", gear.ParkNeutral: "gear-park", gear.Drive: "gear-drive", gear.Reverse: "gear-reverse",
	gear.InGear: "gear-in", gear.Moving: "gear-moving",
}

// gearName is a gear state as a table has it, inGear as a sentence has it.
func (w *words) gearName(g gear.State) string {
	if int(g) >= gear.States {
		g = gear.Unknown
	}
	return w.tell(gearNames[g])
}

func (w *words) inGear(g gear.State) string {
	if g == gear.Unknown {
		return w.tell("in-any-gear")
	}
	return w.InGear(g)
}

// originName is who says which gear it was.
func (w *words) originName(o gear.Origin) string {
	switch o {
	case gear.Reported:
		return w.tell("origin-reported")
	case gear.Marked:
		return w.tell("origin-marked")
	case gear.Inferred:
		return w.tell("origin-inferred")
	}
	return w.tell("origin-none")
}

// asSentence gives a note of the tally its capital letter and full stop.
func (w *words) asSentence(note string) string {
	if note = foreign(note); note == "" {
		return ""
	}
	switch note[len(note)-1] {
	case '.', '!', '?':
		return say.Capital(note)
	}
	return w.sentence(note)
}

// finite reports whether a value is a number that can be written.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
