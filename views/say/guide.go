package say

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"stumble/misfire/gear"
	"stumble/misfire/guide"
	"stumble/views/say/catalogue"
)

// StepName names a step: "Drive at idle".
func (w Words) StepName(s *guide.Step) string {
	return w.tell(byStep(s.Key, "step-park", "step-drive", "step-reverse", "step-raised", "step-cruise", "step-pull"))
}

// byStep is the message of a step among those of all of them.
func byStep(key string, park, drive, reverse, raised, cruise, pull catalogue.Key) catalogue.Key {
	return map[string]catalogue.Key{"park": park, "drive": drive, "reverse": reverse, "raised": raised, "cruise": cruise, "pull": pull}[key]
}

// StepCautions are what a step warns of, one short line each.
func (w Words) StepCautions(s *guide.Step) []string {
	switch s.Key {
	case "drive", "reverse":
		return []string{w.tell("caution-chocks")}
	case "raised":
		return []string{w.tell("caution-belts")}
	case "cruise":
		return []string{w.tell("caution-two-people")}
	case "pull":
		return []string{w.tell("caution-two-people"), w.tell("caution-lamp")}
	}
	return nil
}

// LoadTestCautions are what must be read before a test of some steps begins, a sentence each.
func (w Words) LoadTestCautions(plan []guide.Step) []string {
	lines := []string{w.tell("load-spark"), w.tell("load-hands"), w.tell("guide-monoxide"), w.tell("load-catalyst"), w.tell("load-hybrid")}
	atRest, onRoad := false, false
	for i := range plan {
		atRest = atRest || plan[i].OnBrake()
		onRoad = onRoad || plan[i].Gear == gear.Moving
	}
	if atRest {
		lines = append(lines, w.tell("load-at-rest"))
	}
	if onRoad {
		lines = append(lines, w.tell("load-on-road"))
	}
	return append(lines, w.tell("load-manual"))
}

// BalanceCautions are what must be read before a balance test begins, a sentence each.
func (w Words) BalanceCautions() []string {
	return []string{w.tell("balance-cut"), w.tell("balance-port"), w.tell("balance-seconds"), w.tell("balance-park"), w.tell("guide-monoxide"),
		w.tell("balance-hybrid"), w.tell("balance-codes")}
}

// plainSayings are what is told without numbers.
func plainSayings() map[guide.SayingKind]catalogue.Key {
	return map[guide.SayingKind]catalogue.Key{
		guide.DoStart: "do-start", guide.DoStopHold: "do-stop-hold", guide.DoPedal: "do-pedal", guide.DoFaster: "do-faster",
		guide.DoSlower: "do-slower", guide.DoSteady: "do-steady", guide.DoPull: "do-more-gas", guide.DoEase: "do-ease",
		guide.DoEngineOff: "do-engine-off", guide.DoKeyOff: "do-key-off", guide.DoKeyOn: "do-key-on", guide.DoLast: "do-last",
		guide.DoKeep: "do-keep", guide.DoStopPark: "do-stop-park", guide.DoIdle: "do-idle", guide.DoReady: "do-ready",
		guide.DoLeaveBase: "do-leave-base", guide.DoLeaveCool: "do-leave-cool", guide.DoLeaveFlash: "do-leave-flash",
		guide.StepLeftOut: "step-left-out", guide.ConverterHeats: "why-converter", guide.CatalystAtRisk: "why-catalyst",
		guide.CatalystStill: "why-catalyst-still", guide.CountsLost: "why-counts-lost", guide.IdleLeft: "why-idle-left",
		guide.ReadSeldom: "why-read-seldom", guide.CarNotHeard: "why-not-heard", guide.LeftOutMeanwhile: "why-left-out",
		guide.AllStepsDone: "over-steps-done", guide.ParkAtRisk: "over-at-risk", guide.TestStopped: "over-stopped",
		guide.NothingWanted: "over-nothing-wanted",
		guide.AllCut:        "over-all-cut", guide.NoteNoCounts: "step-note-no-counts", guide.NoteNoneMoved: "step-note-none-moved",
	}
}

// Saying tells what a guide has to tell, a phrase without full stop; empty for nothing.
func (w Words) Saying(s guide.Saying) string {
	if key, plain := plainSayings()[s.Kind]; plain {
		return w.tell(key)
	}
	switch s.Kind {
	case guide.Nothing:
		return ""
	case guide.DoStep:
		return w.tell(byStep(s.Step, "do-park", "do-drive", "do-reverse", "do-raised", "do-cruise", "do-pull"))
	case guide.DoSelect:
		return w.selectGear(s)
	case guide.DoPause:
		return w.marked(w.tell("do-pause", whole(s.Value)), gear.ParkNeutral, s.Mark)
	case guide.DoMoreRevs:
		return w.tell("do-more-revs", Grouped(s.Value))
	case guide.DoFewerRevs:
		return w.tell("do-fewer-revs", Grouped(s.Value))
	case guide.DoWarm:
		return w.tell("do-warm", whole(s.Value), whole(s.Of))
	case guide.StepRan:
		return w.tell("step-ran", Clock(s.In), whole(s.Value))
	case guide.SecondLeft:
		return whole(s.Value)
	case guide.FewRevolutions, guide.FewSeconds, guide.FewPerhaps, guide.FewFirings:
		return w.short(s)
	}
	return w.cutting(s)
}

// cutting tells what concerns one cylinder.
func (w Words) cutting(s guide.Saying) string {
	switch s.Kind {
	case guide.DoUnplug:
		return w.tell("do-unplug", s.Cylinder)
	case guide.DoLeaveOff:
		return w.tell("do-leave-off", s.Cylinder)
	case guide.DoPlugIn:
		return w.tell("do-plug-in", s.Cylinder)
	case guide.DoPlugInNow:
		return w.tell("do-plug-in-now", s.Cylinder, whole(s.Value))
	case guide.DoPlugInLost:
		return w.tell("do-plug-in-lost", s.Cylinder)
	case guide.CylinderLeftOut:
		return w.tell("cylinder-left-out", s.Cylinder)
	case guide.FallMeasured:
		return w.tell("fall-measured", s.Cylinder, Rounded(s.Value))
	case guide.CutVoid:
		return w.tell("cut-void", s.Cylinder, w.Saying(guide.Saying{Kind: s.Why}))
	case guide.StoppedWhileOff:
		return w.tell("over-stopped-off", s.Cylinder)
	}
	return ""
}

func (w Words) selectGear(s guide.Saying) string {
	switch s.Gear {
	case gear.ParkNeutral:
		return w.marked(w.tell("select-park"), s.Gear, s.Mark)
	case gear.Reverse:
		return w.marked(w.tell("do-reverse-select"), s.Gear, s.Mark)
	}
	return w.marked(w.tell("do-drive-select"), s.Gear, s.Mark)
}

// marked asks for the mark of a gear too, where the car does not tell it.
func (w Words) marked(text string, g gear.State, mark bool) string {
	if !mark {
		return text
	}
	return w.tell("do-mark", text, map[gear.State]string{gear.ParkNeutral: "p", gear.Drive: "d", gear.Reverse: "r"}[g])
}

// short tells what a step was too short for.
func (w Words) short(s guide.Saying) string {
	several := w.tell("word-none")
	if s.Value > 0 {
		several = w.tell("word-only", whole(s.Value))
	}
	switch s.Kind {
	case guide.FewRevolutions:
		return w.tell("few-revolutions", several, whole(s.Of))
	case guide.FewSeconds:
		return w.tell("few-seconds", several, whole(s.Of))
	case guide.FewPerhaps:
		return w.tell("few-perhaps", Grouped(s.Of), several)
	}
	return w.tell("few-firings", strconv.FormatFloat(s.Rate, 'g', 2, 64), whole(s.Value), whole(s.Of))
}

// StepOutcome tells what became of a step.
func (w Words) StepOutcome(o guide.Outcome) string {
	keys := [...]catalogue.Key{"outcome-not-reached", "outcome-running", "outcome-done", "outcome-left-out", "outcome-broken-off", "outcome-stopped"}
	return w.tell(keys[o])
}

// Event is an event of a guided test as lines to be read aloud, without the last line's end.
func (w Words) Event(e *guide.Event) string {
	text, left := w.Saying(e.Say), Clock(e.Left)
	switch e.Kind {
	case guide.Begun, guide.Repeated:
		lines := []string{w.tell("event-begun", text, left, e.Number, e.Of, w.StepName(e.Step))}
		if e.Kind == guide.Repeated {
			lines[0] = w.tell("event-repeated", text, left, e.Number, e.Of, w.StepName(e.Step))
		}
		for _, c := range w.StepCautions(e.Step) {
			lines = append(lines, w.tell("event-caution", c))
		}
		return strings.Join(lines, "\n")
	case guide.Held:
		return w.tell("event-held-left", text, left)
	case guide.Ended:
		return w.tell("event-ended", w.StepName(e.Step), text)
	case guide.Skipped:
		if e.Step != nil {
			text = w.StepName(e.Step)
		}
		return w.tell("event-skipped", text)
	case guide.Broken:
		return w.tell("event-broken", text)
	case guide.Counted:
		return "  " + text + " ..."
	case guide.Late:
		return w.tell("event-late", text)
	case guide.Measured:
		return w.tell("event-fall", text)
	case guide.Void:
		return w.tell("event-void", text)
	case guide.Over:
		return w.tell("event-over", text)
	}
	return w.askedFor(e, text, left)
}

// askedFor is an event that asks for something.
func (w Words) askedFor(e *guide.Event, text, left string) string {
	switch e.Ask {
	case guide.AskReady:
		return w.tell("event-first", text)
	case guide.AskHold:
		return w.tell("event-held", text)
	case guide.AskPlugIn:
		return w.tell("event-plug-in", text, whole(math.Ceil(e.Left.Seconds())))
	case guide.AskBase, guide.AskCool:
		if e.Left > 0 {
			return w.tell("event-wait-left", text, left)
		}
		return w.tell("event-wait", text)
	case guide.AskUnplug:
		if e.Round > 1 {
			return w.tell("event-cut-round", text, e.Number, e.Of, e.Round)
		}
		return w.tell("event-cut", text, e.Number, e.Of)
	}
	return w.tell("event-asked", text)
}

// EventMark is an event of a load test as the mark that it leaves in the drive; empty when it leaves none.
func (w Words) EventMark(e *guide.Event) string {
	switch e.Kind {
	case guide.Asked, guide.Held:
		return ""
	case guide.Over:
		return w.tell("mark-over", w.Saying(e.Say))
	}
	kinds := map[guide.Kind]catalogue.Key{guide.Begun: "mark-began", guide.Ended: "mark-ended", guide.Skipped: "mark-skipped",
		guide.Broken: "mark-broken", guide.Repeated: "mark-repeated"}
	return w.tell(kinds[e.Kind], e.Step.Key)
}

// Clock writes a length of time as one says it: "1:20".
func Clock(d time.Duration) string {
	s := int((d + time.Second/2) / time.Second)
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// Rounded writes a number without digits after the point, below zero too; "-" for none.
func Rounded(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "-"
	}
	return strconv.FormatFloat(math.Round(v)+0, 'f', 0, 64)
}
