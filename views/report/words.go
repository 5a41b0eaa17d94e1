package report

import (
	"fmt"
	"strconv"

	"stumble/obd"
	"stumble/views/say"
	"stumble/views/say/catalogue"
	"stumble/views/wrap"
)

// words are what a page is written in: a language and the units of a country. Everything that a reader sees is told
// through them, but for names that package obd has from the standards.
type words struct {
	say.Words
	units   Units
	between Between // what parts the drives that are compared
}

// english is how pages are written that nobody asked to have otherwise.
func english(u Units) *words { return &words{Words: say.English(), units: u} }

// Between is what parts the drives of a comparison.
type Between uint8

// What parts drives.
const (
	BetweenRepair  Between = iota // somebody told of a repair
	BetweenSwap                   // parts changed places
	BetweenClear                  // the codes were cleared, and nobody told of more
	BetweenNamed                  // the user named the drives, and nobody told of anything
	BetweenNothing                // nobody told of anything: they are one evidence
)

// deed names what parts the drives: "the repair".
func (w *words) deed() string {
	switch w.between {
	case BetweenRepair:
		return w.tell("deed-repair")
	case BetweenSwap:
		return w.tell("deed-swap")
	case BetweenClear:
		return w.tell("deed-clear")
	}
	return w.tell("deed-none")
}

func (w *words) tell(key catalogue.Key, about ...any) string { return w.Tell(key, about...) }

// count is a message about a whole number of things, the first of which is the number itself.
func (w *words) count(key catalogue.Key, n float64, more ...any) string {
	return w.Count(key, n, append([]any{w.quantity(n, obd.Counts)}, more...)...)
}

func (w *words) onOff(on bool) string {
	if on {
		return w.tell("word-on")
	}
	return w.tell("word-off")
}

func (w *words) yesNo(yes bool) string {
	if yes {
		return w.tell("word-yes")
	}
	return w.tell("word-no")
}

// chain joins things two by two, from the first on.
func (w *words) chain(key catalogue.Key, things []string) string {
	if len(things) == 0 {
		return ""
	}
	joined := things[0]
	for _, t := range things[1:] {
		joined = w.tell(key, joined, t)
	}
	return joined
}

// sentence gives a phrase its capital letter and full stop.
func (w *words) sentence(s string) string { return w.tell("join-sentence", say.Capital(s)) }

// inModules and byModules name modules after a phrase; nothing when the adapter does not tell them apart.
func (w *words) inModules(phrase string, modules []string) string {
	return w.naming(phrase, modules, "in-module", "in-modules")
}

func (w *words) byModules(phrase string, modules []string) string {
	return w.naming(phrase, modules, "by-module", "by-modules")
}

func (w *words) naming(phrase string, modules []string, one, more catalogue.Key) string {
	switch {
	case len(modules) == 1 && modules[0] == obd.Module{}.String():
		return phrase
	case len(modules) == 1:
		return w.tell(one, phrase, modules[0])
	}
	return w.tell(more, phrase, w.List(modules))
}

func (w *words) frameWords(f *obd.FreezeFrame, about []string) string {
	origin := w.tell("frame-number", f.Frame)
	if f.Module != (obd.Module{}) {
		origin = w.tell("frame-of-module", f.Frame, f.Module)
	}
	if len(about) == 0 {
		return w.tell("frame-empty", origin)
	}
	return w.tell("frame-holds", origin, w.Commas(about))
}

// phrase is a reading as a sentence has it.
func (w *words) phrase(r *obd.Reading) string {
	text := w.rounded(r)
	switch r.ID {
	case obd.PIDLoad:
		return w.tell("phrase-load", text)
	case obd.PIDCoolant:
		return w.tell("phrase-coolant", text)
	case obd.PIDIntakeAir:
		return w.tell("phrase-intake-air", text)
	case obd.PIDRunTime:
		return w.tell("phrase-after-start", w.duration(r.Value/60))
	case obd.PIDTimeMIL, obd.PIDTimeClear:
		return w.tell("phrase-running", w.duration(r.Value))
	case obd.PIDWarmUps:
		return w.count("count-warm-ups", r.Value)
	case obd.PIDSpeed:
		if r.Value == 0 {
			return w.tell("word-at-rest")
		}
	}
	return text
}

// duration writes minutes in the unit that gives the plainest figure.
func (w *words) duration(minutes float64) string {
	switch {
	case minutes < 2:
		return w.tell("time-seconds", w.written(minutes*60, 0, obd.Counts))
	case minutes < 120:
		return w.tell("time-minutes", w.written(minutes, 0, obd.Counts))
	}
	return w.tell("time-hours", w.written(minutes/60, 0, obd.Counts))
}

func (w *words) noCounts(p obd.Protocol) string {
	if p != obd.ProtocolUnknown && !p.CAN() {
		return w.tell("say-counts-older")
	}
	return w.tell("say-no-counts")
}

// shareText is a part of the whole in percent; a little is not nothing.
func (w *words) shareText(share float64) string {
	if share > 0 && share < 0.01 {
		return w.tell("under-one-percent")
	}
	return w.written(100*share, 0, obd.Percent)
}

func Hex(id byte) string { return fmt.Sprintf("%02X", id) }

func whole(n int) string { return strconv.Itoa(n) }

func signed(percent float64) string {
	text := strconv.FormatFloat(percent, 'f', 1, 64)
	switch {
	case text == "-0.0":
		text = "0.0"
	case percent > 0 && text != "0.0":
		text = "+" + text
	}
	return text + wrap.FirmSpace + string(obd.Percent)
}

func (w *words) moduleLine(m *obd.ModuleIntake) string {
	name := isolate(m.Name)
	if name == "" {
		return w.tell("module-line", m.Module)
	}
	return w.tell("module-line-named", m.Module, name)
}

// driveColumn says which drive the counts are of.
func (w *words) driveColumn(turns, told bool) string {
	switch {
	case !told:
		return w.tell("drive-either")
	case turns:
		return w.tell("drive-this")
	}
	return w.tell("drive-last")
}

func (w *words) shareWords(cylinders []string, share, total float64) string {
	return w.Count("say-share", float64(len(cylinders)), w.List(cylinders), w.shareText(share), w.count("count-misses", total))
}

func (w *words) passedLine(passed, failed int) string {
	switch {
	case passed == 0:
		return ""
	case failed == 0:
		return w.tell("say-passed-all", w.count("count-tests", float64(passed)))
	}
	return w.tell("say-passed-rest", w.count("count-other-tests", float64(passed)))
}
