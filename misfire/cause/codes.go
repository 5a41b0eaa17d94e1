package cause

import (
	"fmt"
	"slices"
	"strings"

	"stumble/obd"
)

// knownCode is a row of codes.csv.
type knownCode struct {
	code           obd.Code
	group          string
	bank           int // that it is of; 0 of none
	speaks         []spoken
	stops          bool // the misfire monitor may not run while it is set
	reason, source string
}

// spoken is a cause that something speaks for, and how many times likelier that is with it than without.
type spoken struct {
	cause string
	times float64
}

// strengths are how many times likelier a code or symptom is with a cause that it speaks for: judgement.
var strengths = map[string]float64{"sure": 30, "strong": 8, "medium": 3, "weak": 1.5}

// How often a code is set, and a symptom told, of cars whose cause it does not speak for: judgement.
const (
	oftenSet  = 0.01
	oftenTold = 0.03
)

// readSpoken reads "plug:strong coil:weak"; "silent" is none.
func (b *Book) readSpoken(text string) (all []spoken, err error) {
	if text == "silent" {
		return nil, nil
	}
	for _, part := range strings.Fields(text) {
		key, strength, _ := strings.Cut(part, ":")
		times, known := strengths[strength]
		if !known || b.elses[key] == "" && b.cause(key) == nil {
			return nil, fmt.Errorf("%q names no cause with its strength", part)
		}
		all = append(all, spoken{key, times})
	}
	return all, nil
}

// rowsOf are how often causes show what speaks so: each that is named some times as often as the rest. What speaks for
// causes that the book does not hold speaks for something else, and names them.
func (b *Book) rowsOf(all []spoken, often float64, reason, source string) []row {
	const most = 0.9
	level := func(times float64) []float64 {
		p := min(most, often*times)
		return []float64{p, 1 - p}
	}
	rows := []row{{cause: "*", levels: level(1), reason: reason, source: source}}
	times, named, mean, weight := 1.0, "", 0.0, 0.0
	for i := range b.causes {
		c := &b.causes[i]
		own := 1.0
		for _, s := range all {
			if s.cause == c.key {
				own = max(own, s.times)
			}
		}
		if own > 1 {
			rows = append(rows, row{cause: c.key, levels: level(own), reason: reason, source: source})
		}
		if c.key != somethingElse {
			mean, weight = mean+c.prior*own, weight+c.prior
		}
	}
	for _, s := range all {
		if name := b.elses[s.cause]; name != "" && s.times > times {
			times, named = s.times, name
		}
	}
	other := row{cause: somethingElse, levels: level(max(times, mean/weight)), reason: reason, source: source}
	if named != "" {
		other.reason = named
	}
	return append(rows, other)
}

// code finds what is known of a code; nil where nothing is. Codes of one cylinder beyond those of the table are read as
// those of cylinder 1.
func (b *Book) code(code obd.Code) *knownCode {
	if k := b.codes[code]; k != nil {
		return k
	}
	like := map[obd.CodeKind]obd.Code{obd.KindInjector: 0x0201, obd.KindCoil: 0x0351}[obd.DescribeCode(code).Kind]
	return b.codes[like]
}

// codes are those that name something other than a miss: of each group one fact, of all its codes that are set and speak
// of these cylinders. That none is set is a fact of the groups that a cause would nearly always set one of.
func (e *Evidence) codes(b *Book, s *scope, put func(Fact)) {
	groups, of := []string{}, make(map[string][]*knownCode)
	for _, code := range e.Codes.Set {
		k := b.code(code)
		if k == nil || !e.speaksOf(code, s) {
			continue
		}
		if of[k.group] == nil {
			groups = append(groups, k.group)
		}
		set := *k
		set.code = code
		of[k.group] = append(of[k.group], &set)
	}
	for _, group := range groups {
		if speaks, strongest := e.spokenFor(b, of[group]); len(speaks) > 0 {
			put(Fact{Feature: "code_" + strings.ReplaceAll(group, " ", "_"), Weights: []float64{1, 0}, group: group,
				Found: Telling{Kind: CodeStored, Code: strongest.code}, rows: b.rowsOf(speaks, oftenSet, strongest.reason, strongest.source)})
		}
	}
	if !e.Codes.Read || e.Codes.Cleared {
		return
	}
	for _, f := range [...]struct {
		group, feature string
		weights        []float64
		kind           TellingKind
	}{
		{"coil circuit", "code_coil", []float64{0, 1}, CodeAbsent}, {"injector circuit", "code_injector", []float64{0, 1}, CodeAbsent},
		{"crank and cam", "code_crank", []float64{0, 1}, CodeAbsent}, {"valve timing", "code_timing", []float64{0, 1}, CodeAbsent},
		{"fuel pressure", "code_pressure", []float64{0, 1}, CodeAbsent}, {"air meter codes", "code_meter", []float64{0, 1}, CodeAbsent},
		{"mixture", "code_mixture", []float64{0, 0, 1}, MixtureAbsent},
	} {
		if of[f.group] == nil {
			put(Fact{Feature: f.feature, Weights: f.weights, Found: Telling{Kind: f.kind}})
		}
	}
}

// speaksOf reports whether a code names none of the cylinders, or one of s. With shared coils the letter of a coil
// stands for its pair.
func (e *Evidence) speaksOf(code obd.Code, s *scope) bool {
	info := obd.DescribeCode(code)
	if info.Cylinder == 0 || len(s.cylinders) == 0 || slices.Contains(s.cylinders, info.Cylinder) {
		return true
	}
	return info.Kind == obd.KindCoil && e.Ignition == SharedCoils && slices.Contains(s.cylinders, e.Engine.MateOf(info.Cylinder))
}

// spokenFor is what codes of one group speak for, each cause once by the strongest, and the code that says most.
func (e *Evidence) spokenFor(b *Book, set []*knownCode) (all []spoken, strongest *knownCode) {
	if lean, rich := mixtures(set); lean && rich {
		first := b.both
		first.code = set[0].code
		return b.both.speaks, &first
	}
	banks := [3]bool{}
	most := 0.0
	for _, k := range set {
		banks[k.bank] = true
		for _, s := range k.speaks {
			at := slices.IndexFunc(all, func(o spoken) bool { return o.cause == s.cause })
			if at < 0 {
				all = append(all, s)
			} else {
				all[at].times = max(all[at].times, s.times)
			}
			if s.times > most {
				most, strongest = s.times, k
			}
		}
	}
	return e.banked(b, all, banks), strongest
}

// mixtures reports whether there is a lean and a rich code among some.
func mixtures(set []*knownCode) (lean, rich bool) {
	for _, k := range set {
		switch k.code {
		case 0x0171, 0x0174, 0x2195, 0x2197:
			lean = true
		case 0x0172, 0x0175, 0x2196, 0x2198:
			rich = true
		}
	}
	return lean, rich
}

// banked weighs of which banks codes are, on an engine of two: of both they speak against what sits on one cylinder or
// bank, of one less for what all cylinders share.
func (e *Evidence) banked(b *Book, all []spoken, banks [3]bool) []spoken {
	if !e.twoBanks() || !banks[1] && !banks[2] {
		return all
	}
	var out []spoken
	for _, s := range all {
		c := b.cause(s.cause)
		whole := c == nil || c.where == "engine"
		switch {
		case banks[1] && banks[2] && !whole:
			continue
		case banks[1] != banks[2] && whole:
			s.times = max(1, s.times/2)
		}
		out = append(out, s)
	}
	return out
}

// stopped is the first code set that stops the misfire monitor of some cars; 0 where none does.
func (e *Evidence) stopped(b *Book) obd.Code {
	for _, code := range e.Codes.Set {
		if k := b.codes[code]; k != nil && k.stops {
			return code
		}
	}
	return 0
}
