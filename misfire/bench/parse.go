package bench

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Entry is what holds for every reading that is entered together.
type Entry struct {
	Kind       Kind
	Cylinders  int // of the engine; 0: not known
	Variant    Variant
	Maker      Range
	Length     float64 // of wires that tell none of their own, metres; 0: none is told
	Unmeasured bool    // such wires' length is not known, and that is said
	Usual      bool    // a unit that is left out is the kind's own
}

// mostCylinders is the most that a layout may have, for an engine that is not known.
const mostCylinders = 16

// Parse reads one reading as it is typed: 2=12.1kohm of a cylinder, 12.6V of the whole engine; OL is an open circuit; a
// wire's length follows an @, as 2=12.1kohm@60cm, where @? says that it is not known. The error is one line that says
// what to write.
func (e *Entry) Parse(word string) (Reading, error) {
	cylinder, value, each := strings.Cut(word, "=")
	switch {
	case !e.Kind.Each && each:
		return Reading{}, fmt.Errorf("%s is of the whole engine: leave %q out", e.Kind.Name, shortened(cylinder+"="))
	case !e.Kind.Each:
		return e.Value(0, word)
	case !each:
		return Reading{}, fmt.Errorf("%q does not tell the cylinder: write it before the value, as %s", shortened(word), e.example())
	}
	n, err := e.cylinder(cylinder)
	if err != nil {
		return Reading{}, err
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

// Value reads the value of a cylinder, 0 for the whole engine.
func (e *Entry) Value(cylinder int, text string) (Reading, error) {
	r := Reading{Part: e.Kind.Part, Cylinder: cylinder, Quantity: e.Kind.Quantity, Unit: e.Kind.Unit, Value: math.NaN(), Variant: e.Variant, Maker: e.Maker}
	if err := e.fits(); err != nil {
		return Reading{}, err
	}
	if e.Kind.dimension == words {
		return e.text(r, text)
	}
	number, far, told := strings.Cut(text, "@")
	if told && e.Kind.Part != Wire {
		return Reading{}, fmt.Errorf("%q: only a wire has a length: leave %q out", shortened(text), shortened("@"+far))
	}
	var err error
	if r.Value, err = e.number(number); err != nil {
		return Reading{}, err
	}
	if e.Kind.Part == Wire {
		r.Length, err = e.length(far, told, r.Open())
	}
	if err != nil {
		return Reading{}, err
	}
	return r, nil
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
		return Reading{}, fmt.Errorf("%q is no outcome of a spark test: begin with %s", shortened(r.Text), outcomes())
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

// number reads a value in the kind's unit; +Inf for an open circuit.
func (e *Entry) number(text string) (float64, error) {
	k := &e.Kind
	if isOpen(text) {
		if !k.open {
			return 0, fmt.Errorf("%s cannot be open: give it in %s", k.Name, k.dimension)
		}
		return math.Inf(1), nil
	}
	m, err := parseMeasured(text)
	if err != nil {
		return 0, err
	}
	usual := ""
	if e.Usual {
		usual = k.Unit
	}
	v, err := m.in(k.dimension, usual)
	if err != nil {
		return 0, err
	}
	v = rounded(v / base(k.Unit))
	switch {
	case v < k.least && k.least == 0:
		return 0, fmt.Errorf("%q: %s cannot be below zero: measure again", shortened(text), k.Name)
	case v < k.least || v > k.most:
		hint := "check the unit"
		if k.open {
			hint += ", or write OL for an open circuit"
		}
		return 0, fmt.Errorf("%q: no %s is like that: %s", shortened(text), k.Name, hint)
	}
	return v, nil
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

// length is a wire's length in metres; 0 where it is said not to be known. An open wire needs none.
func (e *Entry) length(text string, told, open bool) (float64, error) {
	switch {
	case told && strings.TrimSpace(text) == "?":
		return 0, nil
	case told:
		return ParseLength(text)
	case e.Length == 0 && !e.Unmeasured && !open:
		return 0, errNoLength
	}
	return e.Length, nil
}

// ParseLength reads the length of a wire, in metres.
func ParseLength(text string) (float64, error) {
	m, err := parseMeasured(text)
	if err != nil {
		return 0, err
	}
	v, err := m.in(length, "")
	if err != nil {
		return 0, err
	}
	if v = rounded(v); v < shortest || v > longest {
		return 0, fmt.Errorf("%q: no plug wire is of that length: check the unit", shortened(strings.TrimSpace(text)))
	}
	return v, nil
}
