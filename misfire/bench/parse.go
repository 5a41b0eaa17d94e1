package bench

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Entry is what holds for every reading that is entered together.
type Entry struct {
	Kind        Kind
	Cylinders   int // of the engine; 0: not known
	Variant     Variant
	Maker       Range
	Length      float64 // of wires that tell none of their own, metres; 0: none is told
	TypedLength string  // the unit it was typed in
	Unmeasured  bool    // such wires' length is not known, and that is said
	Usual       bool    // a unit that is left out is the kind's own
}

// mostCylinders is the most that a layout may have, for an engine that is not known.
const mostCylinders = 16

// Parse reads what is typed of one cylinder, as 2=12.1kohm, or of the whole engine, as 12.6V. OL is an open circuit; a
// wire's length follows an @, as 2=12.1kohm@60cm, where @? says that it is not known; 2=12k..OL is a meter that moved while
// the part was moved; 2=8.1k cold, 14k hot are two readings of one part. The error is one line that says what to write.
func (e *Entry) Parse(word string) ([]Reading, error) {
	cylinder, value, each := strings.Cut(word, "=")
	switch {
	case !e.Kind.Each && each:
		return nil, fmt.Errorf("%s is of the whole engine: leave %q out", e.Kind.Name, shortened(cylinder+"="))
	case !e.Kind.Each:
		return e.Value(0, word)
	case !each:
		return nil, fmt.Errorf("%q does not tell the cylinder: write it before the value, as %s", shortened(word), e.example())
	}
	n, err := e.cylinder(cylinder)
	if err != nil {
		return nil, err
	}
	return e.Value(n, value)
}

// example is how a reading is typed.
func (e *Entry) example() string {
	switch {
	case e.Kind.Unit == "":
		return "2=good"
	case e.Kind.Key == "wire":
		return "2=12.1kohm@60cm"
	case e.Kind.Each:
		return "2=12.1" + e.Kind.Unit
	}
	return "12.1" + e.Kind.Unit
}

// cylinder reads a cylinder's number.
func (e *Entry) cylinder(text string) (int, error) {
	text = strings.TrimSpace(text)
	n, err := strconv.Atoi(text)
	most := e.Cylinders
	if most == 0 {
		most = mostCylinders
	}
	switch {
	case err != nil:
		return 0, fmt.Errorf("%q is no number of a cylinder: write %s", shortened(text), e.example())
	case n < 1 || n > most:
		return 0, fmt.Errorf("there is no cylinder %d: they are 1 to %d", n, most)
	}
	return n, nil
}

// between parts the readings of one part in several states: a comma with a space behind it is no decimal point.
var between = regexp.MustCompile(`,\s+|\s*;\s*`)

// Value reads what is typed of a cylinder, 0 for the whole engine: one reading, or one for each state.
func (e *Entry) Value(cylinder int, text string) (all []Reading, err error) {
	if err := e.fits(); err != nil {
		return nil, err
	}
	if e.Kind.dimension == words {
		r, err := e.text(e.blank(cylinder), text)
		if err != nil {
			return nil, err
		}
		return []Reading{r}, nil
	}
	for _, part := range between.Split(strings.TrimSpace(text), -1) {
		r, err := e.one(cylinder, part)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(all, func(o Reading) bool { return keyOf(&o) == keyOf(&r) }) {
			return nil, fmt.Errorf("%q tells two values of one state: say which is cold and which hot", shortened(text))
		}
		all = append(all, r)
	}
	return all, nil
}

// blank is a reading of a cylinder without its value.
func (e *Entry) blank(cylinder int) Reading {
	k := &e.Kind
	return Reading{
		Part: k.Part, Cylinder: cylinder, Quantity: k.Quantity, Unit: k.Unit, Value: math.NaN(), Variant: e.Variant, Maker: e.Maker,
	}
}

// one reads one value with all that stands behind it.
func (e *Entry) one(cylinder int, text string) (Reading, error) {
	text, state, err := e.state(text)
	if err != nil {
		return Reading{}, err
	}
	in := *e
	if in.Kind, err = e.Kind.as(state); err != nil {
		return Reading{}, err
	}
	r := in.blank(cylinder)
	if state == string(Cold) || state == string(Hot) {
		r.State = State(state)
	}
	number, far, told := strings.Cut(text, "@")
	switch {
	case !told:
	case in.Kind.Quantity == Load:
		if r.Celsius, r.TypedCelsius, err = temperature(far); err != nil {
			return Reading{}, err
		}
		r.Heated = true
	case in.Kind.Part != Wire:
		return Reading{}, fmt.Errorf("%q: only a wire has a length: leave %q out", shortened(text), shortened("@"+far))
	}
	if err := in.value(&r, number); err != nil {
		return Reading{}, err
	}
	if in.Kind.Part == Wire {
		r.Length, r.TypedLength, err = in.length(far, told, r.Open() || r.Moves)
	}
	if err != nil {
		return Reading{}, err
	}
	return r, nil
}

// value reads a value, or the two ends between which a meter moved.
func (e *Entry) value(r *Reading, number string) (err error) {
	from, to, moves := strings.Cut(number, "..")
	if !moves {
		r.Value, r.Typed, err = e.number(number, "")
		return err
	}
	r.Moves = true
	usual := ""
	if m, err := parseMeasured(to); err == nil {
		usual = m.unit
	}
	if r.Value, r.Typed, err = e.number(from, usual); err != nil {
		return err
	}
	var typed string
	if r.To, typed, err = e.number(to, r.Typed); err != nil {
		return err
	}
	if r.Typed == "" {
		r.Typed = typed
	}
	if r.Value == r.To {
		return fmt.Errorf("%q moves from a value to the same: write one value, or both ends", shortened(number))
	}
	return nil
}

// state takes the word off that a value ends with: how warm the part was, or in which state a battery was measured.
func (e *Entry) state(text string) (rest, state string, err error) {
	text = strings.TrimSpace(text)
	lower := strings.ToLower(text)
	for _, word := range []string{string(Cold), string(Hot), "warm", "at rest", "rest", "key on", "key-on", "cranking", "running"} {
		if !strings.HasSuffix(lower, " "+word) {
			continue
		}
		rest = strings.TrimSpace(text[:len(text)-len(word)])
		switch heat := word == string(Cold) || word == string(Hot) || word == "warm"; {
		case heat && e.Kind.dimension != resistance:
			return "", "", fmt.Errorf("%q: only a resistance is told cold and hot: leave %q out", shortened(text), word)
		case !heat && e.Kind.Key != "battery":
			return "", "", fmt.Errorf("%q: only a battery is told %s: leave that out", shortened(text), word)
		case word == "warm":
			word = string(Hot)
		}
		return rest, word, nil
	}
	return text, "", nil
}

// as is the kind that a battery's state makes of it.
func (k *Kind) as(state string) (Kind, error) {
	switch state {
	case "key on", "key-on":
		return FindKind("battery-key-on")
	case "cranking":
		return FindKind("battery-cranking")
	case "running":
		return FindKind("charging")
	}
	return *k, nil
}

// temperature reads how warm a battery was, in degrees Celsius.
func temperature(text string) (v float64, typed string, err error) {
	m, err := parseMeasured(text)
	if err != nil {
		return 0, "", err
	}
	if v, err = m.in(heat, ""); err != nil {
		return 0, "", err
	}
	const coldest, hottest = -60, 90
	if v = rounded(v); v < coldest || v > hottest {
		return 0, "", fmt.Errorf("%q: no battery is that warm: check the unit", shortened(strings.TrimSpace(text)))
	}
	return v, m.name(), nil
}

// fits reports whether what holds for all is of the kind.
func (e *Entry) fits() error {
	if e.Variant == "" {
		return nil
	}
	for _, v := range e.Kind.Variants {
		if v == e.Variant {
			return nil
		}
	}
	return variantError(&e.Kind, string(e.Variant))
}

// ParseVariant reads which kind of part the readings are of.
func (k *Kind) ParseVariant(text string) (Variant, error) {
	for _, v := range k.Variants {
		if strings.EqualFold(string(v), text) {
			return v, nil
		}
	}
	return "", variantError(k, text)
}

func variantError(k *Kind, text string) error {
	if len(k.Variants) == 0 {
		return fmt.Errorf("there are no variants of %s: leave %q out", k.Name, shortened(text))
	}
	names := make([]string, len(k.Variants))
	for i, v := range k.Variants {
		names[i] = string(v)
	}
	return fmt.Errorf("%q is no variant of %s: choose from %s", shortened(text), k.Name, strings.Join(names, ", "))
}

// mostText is how long a text may be, in runes.
const mostText = 200

// text is a reading in words.
func (e *Entry) text(r Reading, text string) (Reading, error) {
	r.Text = strings.Join(strings.Fields(strings.Map(printable, text)), " ")
	switch {
	case r.Text == "":
		return Reading{}, fmt.Errorf("%s: say %s", e.Kind.Name, e.Kind.How)
	case len([]rune(r.Text)) > mostText:
		return Reading{}, fmt.Errorf("%s: that is longer than %d letters: shorten it", e.Kind.Name, mostText)
	case r.Part == Spark && outcomeOf(r.Text) == nil:
		return Reading{}, fmt.Errorf("%q is no outcome of a spark test: begin with %s", shortened(r.Text), strings.Join(wordList(sparkOutcomes()), ", "))
	}
	return r, nil
}

// printable replaces what would disturb a terminal.
func printable(c rune) rune {
	if c < ' ' || c >= 0x7f && c < 0xa0 || c == '\ufffd' {
		return ' '
	}
	return c
}

// number reads a value in the kind's unit, and the unit it was typed in; +Inf for an open circuit. usual is the unit of one
// that has none.
func (e *Entry) number(text, usual string) (v float64, typed string, err error) {
	k := &e.Kind
	if isOpen(text) {
		if !k.open {
			return 0, "", fmt.Errorf("%s cannot be open: give it in %s", k.Name, k.dimension)
		}
		return math.Inf(1), "", nil
	}
	m, err := parseMeasured(text)
	if err != nil {
		return 0, "", err
	}
	if m.unit == "" {
		m.unit = usual
	}
	typed = m.name()
	if e.Usual {
		usual = k.Unit
	}
	if v, err = m.in(k.dimension, usual); err != nil {
		return 0, "", err
	}
	v = rounded(v / base(k.Unit))
	switch {
	case v < k.least && k.least == 0:
		return 0, "", fmt.Errorf("%q: %s cannot be below zero: measure again", shortened(text), k.Name)
	case v < k.least || v > k.most:
		hint := "check the unit"
		if k.open {
			hint += ", or write OL for an open circuit"
		}
		return 0, "", fmt.Errorf("%q: no %s is like that: %s", shortened(text), k.Name, hint)
	}
	return v, typed, nil
}

// rounded takes away what the change of units added behind the twelfth digit.
func rounded(v float64) float64 {
	v, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return 0 // a number that was printed is one
	}
	return v
}

// isOpen reports whether the meter showed an open circuit.
func isOpen(text string) bool {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "ol", "o.l", "o.l.", "0l", "open", "\u221e":
		return true
	}
	return false
}

// The shortest and the longest plug wire, metres.
const (
	shortest = 0.05
	longest  = 5
)

var errNoLength = errors.New("the length of the wire is missing: add it as @60cm or --length 60cm; @? or --length unknown if it cannot be measured")

// length is a wire's length in metres, and the unit it was typed in; 0 where it is said not to be known. An open wire needs
// none.
func (e *Entry) length(text string, told, open bool) (float64, string, error) {
	switch {
	case told && strings.TrimSpace(text) == "?":
		return 0, "", nil
	case told:
		return ParseLength(text)
	case e.Length == 0 && !e.Unmeasured && !open:
		return 0, "", errNoLength
	}
	return e.Length, e.TypedLength, nil
}

// ParseLength reads the length of a wire, in metres, and the unit it was typed in.
func ParseLength(text string) (v float64, typed string, err error) {
	m, err := parseMeasured(text)
	if err != nil {
		return 0, "", err
	}
	if v, err = m.in(length, ""); err != nil {
		return 0, "", err
	}
	if v = rounded(v); v < shortest || v > longest {
		return 0, "", fmt.Errorf("%q: no plug wire is of that length: check the unit", shortened(strings.TrimSpace(text)))
	}
	return v, m.name(), nil
}
