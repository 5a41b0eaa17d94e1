package say

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/proof"
	"stumble/obd"
	"stumble/views/say/catalogue"
)

// Causes is what may be behind a misfire, in one or two sentences.
func (w Words) Causes(r *cause.Result) string {
	if r.Basis == cause.Nothing {
		return w.unexplained(&r.None)
	}
	if r.Basis == cause.NumberingOpen {
		return w.tell("clash-first", w.clash(r.Clash))
	}
	if len(r.Ranked) == 0 {
		return ""
	}
	first := &r.Ranked[0]
	text := w.tell("causes-likely", w.CauseTitle(first), w.Weight(first.Share))
	if len(r.Ranked) > 1 && r.Ranked[1].Share >= 0.05 {
		text = w.tell("causes-then", text, r.Ranked[1].Name, w.Weight(r.Ranked[1].Share))
	}
	switch {
	case r.Proven():
		return w.tell("causes-proven", text)
	case r.Next == nil:
		return w.tell("causes-no-test", text)
	case r.Basis == cause.FromCodes && r.Driven:
		return w.tell("causes-by-codes-driven", text, w.Filled(r.Next.Name))
	case r.Basis == cause.FromCodes:
		return w.tell("causes-by-codes", text, w.Filled(r.Next.Name))
	case r.Basis == cause.FromReport:
		return w.tell("causes-by-report", text, w.Filled(r.Next.Name))
	case r.Basis == cause.FromLastCycle:
		return w.tell("causes-by-last", text, w.Filled(r.Next.Name))
	}
	return w.tell("causes-next", text, w.Filled(r.Next.Name))
}

// Weight is a share of the belief, in steps of 5 percent: finer steps would claim more than is known.
func (w Words) Weight(share float64) string {
	const step = 5
	switch n := step * math.Round(100*share/step); {
	case n == 0:
		return w.tell("weight-under")
	case n == 100:
		return w.tell("weight-over")
	default:
		return w.tell("weight-is", whole(n))
	}
}

// unexplained says why there is nothing to explain.
func (w Words) unexplained(u *cause.Unexplained) string {
	var bad []string
	for i := range u.Bad {
		b := &u.Bad[i]
		bad = append(bad, w.measured(b.Part, b.Quantity, b.Cylinder))
	}
	switch {
	case len(bad) > 0 && u.Counted:
		return w.tell("nothing-counted-bad", w.Commas(bad))
	case len(bad) > 0:
		return w.tell("nothing-bad", w.Commas(bad))
	case u.Stopped != 0:
		return w.tell("nothing-stopped", u.Stopped)
	case u.Counted:
		return w.tell("nothing-counted")
	case u.Driven:
		return w.tell("nothing-driven")
	case u.Read:
		return w.tell("nothing-read")
	}
	return w.tell("nothing-at-all")
}

// measured names what is measured at the bench, with its cylinder if it has one.
func (w Words) measured(p bench.Part, q bench.Quantity, cylinder int) string {
	k, _ := bench.KindOf(p, q)
	if cylinder == 0 {
		return k.Name
	}
	return w.tell("measured-at", k.Name, cylinder)
}

// CauseTitle is a cause with its place: "plug wire or its boot, cylinder 2". A part that took the fault along when it was
// exchanged sits elsewhere now: "coil that was on cylinder 5 and is now on cylinder 3".
func (w Words) CauseTitle(r *cause.Ranked) string {
	moved := followed(r)
	switch {
	case moved != nil:
		return w.tell("cause-moved", r.Name, moved.From, moved.To)
	case len(r.Cylinders) > 0:
		return w.tell("join-comma", r.Name, w.Cylinders(r.Cylinders))
	case r.Bank > 0:
		return w.tell("cause-bank", r.Name, r.Bank)
	}
	return r.Name
}

// followed is the exchange that showed a cause's part to be the faulty one, so that it now sits on another cylinder.
func followed(r *cause.Ranked) *proof.SwapResult {
	for i := range r.For {
		f := &r.For[i].Fact
		if f.Kind == cause.PartsSwapped && f.Swap.Verdict == proof.FollowedPart && slices.Equal(r.Cylinders, []int{f.Swap.From}) {
			return f.Swap
		}
	}
	return nil
}

// Filled is a text of the tables with the cylinders that it is about.
func (w Words) Filled(t cause.Text) string {
	mine, other, a, b := w.tell("each-cylinder"), w.tell("a-clean-one"), "A", "B"
	if len(t.Cylinders) > 0 {
		mine, a = w.Cylinders(t.Cylinders), fmt.Sprint(t.Cylinders[0])
	}
	if t.Clean > 0 {
		other, b = w.Cylinders([]int{t.Clean}), fmt.Sprint(t.Clean)
	}
	return strings.NewReplacer("{cyl}", mine, "{other}", other, "{a}", a, "{b}", b).Replace(t.Table)
}

// Telling is what was found, a phrase.
func (w Words) Telling(t *cause.Telling) string {
	plain := map[cause.TellingKind]catalogue.Key{cause.NeverFires: "found-never-fires", cause.ComeInRuns: "found-runs",
		cause.ComeOneByOne: "found-one-by-one", cause.MissesKept: "found-kept", cause.CodeAbsent: "found-no-code", cause.MostCommon: "found-common",
		cause.MixtureAbsent: "found-no-mixture"}
	if key, ok := plain[t.Kind]; ok {
		return w.tell(key)
	}
	switch t.Kind {
	case cause.MissesFall:
		return w.fall(t)
	case cause.LastFall:
		return w.tell("found-last-fall", w.lastFall(t))
	case cause.RatesDiffer:
		return w.tell("found-rates", w.Rate(t.ToRate), w.running(t.To), w.Rate(t.FromRate), w.running(t.From))
	case cause.RatesByHeat:
		return w.tell("found-rates-heat", w.Rate(t.ToRate), w.running(t.To), w.Rate(t.FromRate), w.running(t.From))
	case cause.MissesOften:
		return w.tell("found-often", w.Rate(t.ToRate))
	case cause.MissesGrew:
		return w.tell("found-grew", t.Cylinders[0])
	case cause.PartnerMisses:
		return w.tell("found-partner", t.Cylinders[0], w.misses(t.Misses), whole(t.All))
	case cause.ToldByDriver:
		return w.tell("found-told", t.Table)
	case cause.DipsDiffer:
		return w.tell("found-dips", w.Rate(t.ToRate), w.Rate(t.FromRate))
	case cause.PartsSwapped:
		return w.tell("found-swapped", t.Swap.Part, t.Swap.From, t.Swap.To, w.swapped(t.Swap.Verdict))
	}
	return w.tellingOfCar(t)
}

// swapped is how a swap came out, within a sentence.
func (w Words) swapped(v proof.SwapVerdict) string { return lower(w.SwapVerdict(v)) }

// tellingOfCar is what codes, trims and the bench told.
func (w Words) tellingOfCar(t *cause.Telling) string {
	switch t.Kind {
	case cause.CodesName:
		if len(t.Cylinders) == 0 {
			return w.tell("found-code-alone")
		}
		return w.tell("found-codes", w.Cylinders(t.Cylinders))
	case cause.StoredUnder:
		return w.tell("found-stored-under", whole(t.RPM), whole(t.Load))
	case cause.StoredAt:
		return w.tell("found-stored-at", whole(t.Celsius))
	case cause.CodeStored:
		return w.tell("found-code", t.Code, obd.DescribeCode(t.Code).Meaning)
	case cause.CodeLean:
		return w.tell("found-lean", t.Code)
	case cause.CodeRich:
		return w.tell("found-rich", t.Code)
	case cause.OwnTrim:
		if t.Own < 0 {
			return w.tell("found-own-rich", signed(t.Trim), w.Cylinders(t.Cylinders), whole(math.Abs(t.Own)))
		}
		return w.tell("found-own-lean", signed(t.Trim), w.Cylinders(t.Cylinders), whole(math.Abs(t.Own)))
	case cause.TrimShape:
		return w.tell("found-trim-shape", signed(t.Trim), w.trimPlace(t.Where), signed(t.Idle))
	case cause.TrimLevel:
		if t.Bank == 0 {
			return w.tell("found-trim", signed(t.Trim), w.trimPlace(t.Where))
		}
		return w.tell("found-trim-bank", t.Bank, signed(t.Trim), w.trimPlace(t.Where))
	case cause.BanksApart:
		return w.tell("found-apart", fmt.Sprintf("%.1f", t.Trim))
	}
	return w.atTheBench(t)
}

// atTheBench is what was measured.
func (w Words) atTheBench(t *cause.Telling) string {
	name := w.measured(t.Part, t.Quantity, 0)
	switch t.Kind {
	case cause.PartMeasured:
		if len(t.Cylinders) > 0 {
			name = w.measured(t.Part, t.Quantity, t.Cylinders[0])
		}
		return w.tell("found-part", name, w.Mark(t.Mark))
	case cause.MeasuredEven:
		return w.tell("found-even", name)
	case cause.MeasuredLow:
		return w.tell("found-low", name, w.Cylinders(t.Cylinders))
	case cause.MeasuredBeside:
		return w.tell("found-beside", name, w.Cylinders(t.Cylinders))
	case cause.MeasuredOff:
		return w.tell("found-off", name, w.Cylinders(t.Cylinders))
	case cause.MeasuredSound:
		return w.tell("found-off-sound", name, w.Cylinders(t.Cylinders))
	}
	return ""
}

// Mark is what a reading of the bench is judged.
func (w Words) Mark(m bench.Mark) string {
	switch m {
	case bench.Good:
		return w.tell("mark-good")
	case bench.Suspect:
		return w.tell("mark-suspect")
	case bench.Bad:
		return w.tell("mark-bad")
	}
	return w.tell("mark-cannot-say")
}

// misses is a number of misses: "1 miss", "12 misses".
func (w Words) misses(n float64) string { return w.Count("misses-plain", math.Round(n), whole(n)) }

// signed is percent with its sign.
func signed(percent float64) string { return fmt.Sprintf("%+.1f", percent) }

// fall is how misses fall on the cylinders.
func (w Words) fall(t *cause.Telling) string {
	switch t.Among {
	case cause.AllAlike:
		return w.tell("fall-all", w.misses(t.All))
	case cause.Unevenly:
		return w.tell("fall-unevenly", w.misses(t.All))
	case cause.ACoil:
		return w.tell("fall-coil", whole(t.Misses), w.misses(t.All), w.Cylinders(t.Cylinders))
	case cause.Neighbours:
		return w.tell("fall-neighbours", whole(t.Misses), w.misses(t.All), w.Cylinders(t.Cylinders))
	case cause.ABank:
		return w.tell("fall-bank", whole(t.Misses), w.misses(t.All), w.Cylinders(t.Cylinders))
	}
	return w.tell("fall-on", whole(t.Misses), w.misses(t.All), w.Cylinders(t.Cylinders))
}

// lastFall is the same of the car's own counts, which tell less of what the cylinders have in common.
func (w Words) lastFall(t *cause.Telling) string {
	if t.Among == cause.AllAlike || t.Among == cause.Unevenly {
		return w.fall(t)
	}
	return w.tell("fall-on", whole(t.Misses), w.misses(t.All), w.Cylinders(t.Cylinders))
}

// running names running that is compared with other.
func (w Words) running(r cause.Running) string {
	keys := [...]catalogue.Key{cause.IdleNeutral: "run-idle-neutral", cause.IdleGear: "run-idle-gear", cause.Raised: "run-raised",
		cause.Cruise: "run-cruise", cause.Pull: "run-pull", cause.Fast: "run-fast", cause.WhenCooler: "run-cooler", cause.WhenHottest: "run-hottest",
		cause.WhenCold: "run-cold", cause.WhenWarm: "run-warm"}
	return w.tell(keys[r])
}

func (w Words) trimPlace(p cause.TrimPlace) string {
	keys := [...]catalogue.Key{cause.TrimIdle: "trim-idle", cause.TrimRaised: "trim-raised", cause.TrimCruise: "run-cruise",
		cause.TrimPull: "run-pull"}
	return w.tell(keys[p])
}

// CauseNotes are what a reader must know to take the shares for what they are, a phrase each.
func (w Words) CauseNotes(r *cause.Result) []string {
	plain := map[cause.NoteKind]catalogue.Key{cause.CodesAlone: "note-codes-alone", cause.CodesUnseen: "note-codes-unseen",
		cause.LastCycleAlone: "note-last-cycle", cause.DipsAlone: "note-dips-alone", cause.LayoutNotTold: "note-layout",
		cause.IgnitionNotTold: "note-ignition", cause.ReportAlone: "note-report", cause.ClearedLately: "note-cleared", cause.TrimsLeftOut: "note-trims"}
	notes := []string{}
	for i := range r.Notes {
		n := &r.Notes[i]
		switch n.Kind {
		case cause.OtherFault:
			other := w.Cylinders(n.Cylinders)
			notes = append(notes, w.Count("note-other-fault", float64(len(n.Cylinders)), other, w.Cylinders(n.Worst)))
		case cause.MonitorStopped:
			notes = append(notes, w.tell("note-monitor", n.Code))
		case cause.SupplyBad:
			notes = append(notes, w.tell("note-supply", w.measured(n.Part, n.Quantity, 0)))
		default:
			notes = append(notes, w.tell(plain[n.Kind]))
		}
	}
	return notes
}
