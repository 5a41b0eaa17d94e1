package cause

import (
	"math"
	"slices"
	"strings"

	"stumble/misfire/bench"
	"stumble/misfire/proof"
)

// gathered are all tests made, as findings about the cylinders of s: those told, swaps, and readings of the bench. One
// test counts once.
func (e *Evidence) gathered(b *Book, s *scope) []Finding {
	all := slices.Clone(e.Findings)
	for i := range e.Swaps {
		all = e.addSwap(b, s, all, &e.Swaps[i])
	}
	return append(all, e.measured(b, s, all)...)
}

// addSwap takes a swap that says something of the cylinders of s.
func (e *Evidence) addSwap(b *Book, s *scope, all []Finding, r *proof.SwapResult) []Finding {
	outcome := map[proof.SwapVerdict]string{proof.FollowedPart: "followed", proof.StayedPut: "stayed", proof.NeitherMisses: "neither"}[r.Verdict]
	test := "swap_" + r.Part
	if outcome == "" || !slices.Contains(s.cylinders, r.From) || slices.ContainsFunc(all, func(f Finding) bool { return f.Test == test }) {
		return all
	}
	found, ok := b.Found(test, outcome, Telling{Kind: PartsSwapped, Swap: r})
	if !ok {
		return all
	}
	return append(all, found)
}

// measured reads the bench: of parts that sit on a cylinder those of s, of what is compared all.
func (e *Evidence) measured(b *Book, s *scope, already []Finding) []Finding {
	heard := make(map[string][]reading)
	for i := range e.Bench {
		j := &e.Bench[i]
		if j.Redone || j.Mark == bench.CannotSay {
			continue
		}
		if r, ok := e.read(s, j); ok {
			heard[r.test] = append(heard[r.test], r)
		}
	}
	var out []Finding
	for i := range b.tests {
		t := &b.tests[i]
		of := heard[t.key]
		if len(of) == 0 || slices.ContainsFunc(already, func(f Finding) bool { return f.Test == t.key }) {
			continue
		}
		if f, ok := e.finding(s, t, of); ok {
			out = append(out, f)
		}
	}
	return out
}

// reading is one judgement of the bench, as the outcome of a test.
type reading struct {
	test     string
	outcome  string // if it is bad
	sound    string // if it is good
	cylinder int
	mark     bench.Mark
	part     bench.Part
	quantity bench.Quantity
}

// read tells which test a judgement belongs to; false when it says nothing of the cylinders of s.
func (e *Evidence) read(s *scope, j *bench.Judgement) (reading, bool) {
	r := &j.Reading
	k, known := bench.KindOf(r.Part, r.Quantity)
	if !known {
		return reading{}, false
	}
	out := reading{cylinder: r.Cylinder, mark: j.Mark, part: k.Part, quantity: k.Quantity}
	switch r.Part {
	case bench.Wire:
		out.test, out.outcome, out.sound = "wire_ohms", "bad", "good"
	case bench.Spark:
		out.test, out.outcome, out.sound = "spark_load", "weak", "strong"
	case bench.Plug:
		out.test, out.outcome, out.sound = "read_plug", "worn", "normal"
		if r.Quantity == bench.Appearance {
			out.outcome = looks(r.Text)
		}
	case bench.Coil:
		out.test, out.outcome, out.sound = "coil_ohms", "off", "within"
		switch r.Quantity {
		case bench.SupplyDrop:
			out.test, out.outcome, out.sound = "coil_feed", "bad", "good"
		case bench.Reach:
			out.test, out.outcome, out.sound = "spark_load", "weak", "strong"
		}
	case bench.Injector:
		out.test, out.outcome, out.sound = "injector_ohms", "off", "within"
		if r.Quantity == bench.PressureDrop {
			out.test, out.outcome, out.sound = "injector_flow", e.drops(j), "alike"
		}
	case bench.Compression:
		out.test, out.sound = "compression", "even"
		return out, r.Quantity == bench.Dry
	case bench.LeakDown:
		out.test, out.sound = "leak_down", "even"
		return out, true
	case bench.Balance:
		out.test, out.outcome, out.sound = "balance", "one", "none"
		return out, true
	case bench.Fuel:
		out.test, out.outcome, out.sound = "fuel_pressure", "high", "good"
		if below(r) {
			out.outcome = "low"
		}
		if r.Quantity == bench.Hold {
			out.test, out.outcome, out.sound = "rail_hold", "falls", "holds"
			return out, true
		}
		return out, r.Quantity == bench.Pressure
	case bench.Exhaust:
		out.test, out.outcome, out.sound = "back_pressure", "high", "free"
		return out, r.Quantity == bench.BackPressure
	case bench.Battery, bench.Ground:
		out.test, out.outcome, out.sound = "supply", "bad", "good"
		return out, true
	case bench.Engine:
		out.test, out.outcome, out.sound = "vacuum", "low", "steady"
		return out, r.Quantity == bench.Vacuum
	default:
		return out, false
	}
	return out, slices.Contains(s.cylinders, r.Cylinder) || s.kind >= scopeBank
}

// drops is how a fall of the rail's pressure differs from the mean of the others that were measured: a clogged injector
// makes less, a dripping one more.
func (e *Evidence) drops(j *bench.Judgement) string {
	sum, n := 0.0, 0.0
	for i := range e.Bench {
		o := &e.Bench[i]
		if o.Reading.Part == bench.Injector && o.Reading.Quantity == bench.PressureDrop && !o.Redone && o.Reading.Cylinder != j.Reading.Cylinder {
			sum += o.Reading.Value
			n++
		}
	}
	if n > 0 && j.Reading.Value > sum/n {
		return "more"
	}
	return "less"
}

// below reports whether a pressure of fuel lies under what it should be: the maker's figure, else the usual band.
func below(r *bench.Reading) bool {
	const usual = 270 // kPa, the lower end for port injection; common practice, no source
	if r.Maker.Told() {
		return r.Value < r.Maker.Low
	}
	return r.Value < usual
}

// looks is the outcome that the appearance of a plug comes to, by its first word.
func looks(text string) string {
	first, _, _ := strings.Cut(strings.ToLower(text), " ")
	switch strings.Trim(first, ",;:.") {
	case "wet":
		return "wet"
	case "sooty":
		return "sooty"
	case "oily", "deposit", "bridged":
		return "oily"
	case "white", "blistered":
		return "white"
	case "steamed":
		return "steamed"
	case "tracked":
		return "tracked"
	case "worn", "cracked", "loose", "rounded", "melted":
		return "worn"
	}
	return "normal"
}

// finding makes one finding of all that was read for a test: the worst decides, and what is merely suspect counts half.
func (e *Evidence) finding(s *scope, t *knownTest, of []reading) (Finding, bool) {
	worst := of[0]
	for _, r := range of {
		if r.mark > worst.mark || r.mark == worst.mark && r.cylinder < worst.cylinder {
			worst = r
		}
	}
	switch t.key {
	case "compression", "leak_down":
		return e.together(s, t, of)
	case "balance":
		worst = of[0]
		for _, r := range of {
			if slices.Contains(s.cylinders, r.cylinder) && (r.mark > worst.mark || !slices.Contains(s.cylinders, worst.cylinder)) {
				worst = r
			}
		}
	}
	weights := make([]float64, len(t.outcomes))
	bad, good := slices.Index(t.outcomes, worst.outcome), slices.Index(t.outcomes, worst.sound)
	if bad < 0 || good < 0 {
		return Finding{}, false
	}
	switch worst.mark {
	case bench.Good:
		weights[good] = 1
	case bench.Suspect:
		weights[bad], weights[good] = halfway, halfway
	default:
		weights[bad] = 1
	}
	if bad == good {
		weights[bad] = 1
	}
	return Finding{Test: t.key, Weights: weights, Found: worst.told()}, true
}

func (r *reading) told() Telling {
	t := Telling{Kind: PartMeasured, Part: r.part, Quantity: r.quantity, Mark: r.mark}
	if r.cylinder != 0 {
		t.Cylinders = []int{r.cylinder}
	}
	return t
}

// together reads compression or leak-down of several cylinders together: which of them are low. Fewer than two measured
// compare with nothing, and a low cylinder that does not miss is no cause of this.
func (e *Evidence) together(s *scope, t *knownTest, of []reading) (Finding, bool) {
	var low []int
	doubt, mine := false, false
	for _, r := range of {
		mine = mine || slices.Contains(s.cylinders, r.cylinder) || s.kind >= scopeBank
		if r.mark > bench.Good {
			low = append(low, r.cylinder)
			doubt = doubt || r.mark == bench.Suspect
		}
	}
	if !mine {
		return Finding{}, false
	}
	slices.Sort(low)
	outcome, kind := t.outcomes[len(t.outcomes)-1], MeasuredEven
	switch {
	case len(low) == 0:
	case t.key == "compression" && len(of) > 2 && 4*len(low) >= 3*len(of):
		outcome, kind = "low_all", MeasuredLow
	case len(low) >= 2 && e.beside(low):
		outcome, kind = t.outcomes[1], MeasuredBeside
	case slices.ContainsFunc(low, func(cyl int) bool { return slices.Contains(s.cylinders, cyl) }):
		outcome, kind = t.outcomes[0], MeasuredOff
	default:
		kind = MeasuredSound
	}
	f := Finding{Test: t.key, Weights: make([]float64, len(t.outcomes)),
		Found: Telling{Kind: kind, Part: of[0].part, Quantity: of[0].quantity, Cylinders: low}}
	f.Weights[slices.Index(t.outcomes, outcome)] = 1
	if doubt && outcome != "even" {
		f.Weights[slices.Index(t.outcomes, outcome)], f.Weights[len(f.Weights)-1] = halfway, halfway
	}
	return f, true
}

// beside reports whether two of some cylinders stand side by side.
func (e *Evidence) beside(list []int) bool {
	return slices.ContainsFunc(e.neighbours(), func(pair []int) bool { return slices.Contains(list, pair[0]) && slices.Contains(list, pair[1]) })
}

// firstThings are readings that must be put right before any other is believed.
func (e *Evidence) firstThings() (notes []Note) {
	for i := range e.Bench {
		j := &e.Bench[i]
		supply := j.Reading.Part == bench.Battery || j.Reading.Part == bench.Ground
		if supply && !j.Redone && j.Mark == bench.Bad && !math.IsNaN(j.Reading.Value) {
			notes = append(notes, Note{Kind: SupplyBad, Part: j.Reading.Part, Quantity: j.Reading.Quantity})
		}
	}
	return notes
}
