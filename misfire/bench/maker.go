package bench

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strings"
)

var (
	betweenForm   = regexp.MustCompile(`^(.*\d.*?)\s*(?:-|\.\.|\bto\b|\x{2013})\s*(\d.*)$`)
	toleranceForm = regexp.MustCompile(`^(.*?)\s*(?:\+-|\+/-|\x{00b1})\s*(.+)$`)
)

var errNoFigure = errors.New("write a maker's figure as 4-12kohm, max 12kohm, min 900kPa or 12kohm+-20%; of wires also max 7kohm/ft")

// gapStep is how far a gap may lie from a single figure of the maker's: half the step of a feeler gauge's leaves, a
// choice.
const gapStep = 0.05

// ParseMaker reads the maker's figure for readings of the kind.
func (k *Kind) ParseMaker(text string) (Range, error) {
	text = strings.TrimSpace(text)
	if k.dimension == words {
		return Range{}, fmt.Errorf("%s is told in words: no maker's figure can be set beside it", k.Name)
	}
	text, per, err := k.perLength(text)
	if err != nil {
		return Range{}, err
	}
	low, high, err := k.ends(text)
	switch {
	case err != nil:
		return Range{}, err
	case high <= 0:
		return Range{}, fmt.Errorf("the maker's figure %q ends at nothing: %w", shortened(text), errNoFigure)
	case low > high:
		return Range{}, fmt.Errorf("the maker's figure %q ends below its beginning: %w", shortened(text), errNoFigure)
	case per.factor > 0:
		return Range{Low: low / per.factor, High: high / per.factor, PerLength: true, Typed: per.name}, nil
	}
	return Range{Low: low, High: high}, nil
}

// perLength takes a trailing /ft or /m off, and returns that length; none where there is none.
func (k *Kind) perLength(text string) (rest string, per unit, err error) {
	at := strings.LastIndex(text, "/")
	if at < 0 || k.Part != Wire || strings.HasSuffix(text[:at], "+") {
		return text, unit{}, nil
	}
	u, known := unitOf(strings.TrimSpace(text[at+1:]))
	if !known || u.dimension != length {
		return "", unit{}, errNoFigure
	}
	return text[:at], u, nil
}

// ends are the ends of a figure, in the kind's unit.
func (k *Kind) ends(text string) (low, high float64, err error) {
	for _, word := range []string{"max", "<=", "<", "\u2264"} {
		if rest, ok := cutWord(text, word); ok {
			high, err = k.figure(rest, "")
			return math.Inf(-1), high, err
		}
	}
	for _, word := range []string{"min", ">=", ">", "\u2265"} {
		if rest, ok := cutWord(text, word); ok {
			low, err = k.figure(rest, "")
			return low, math.Inf(1), err
		}
	}
	if parts := toleranceForm.FindStringSubmatch(text); parts != nil {
		return k.tolerance(parts[1], parts[2])
	}
	if parts := betweenForm.FindStringSubmatch(text); parts != nil {
		m, err := parseMeasured(parts[2])
		if err != nil {
			return 0, 0, fmt.Errorf("%w; %w", err, errNoFigure)
		}
		if low, err = k.figure(parts[1], m.unit); err == nil {
			high, err = k.figure(parts[2], "")
		}
		return low, high, err
	}
	middle, err := k.figure(text, "")
	switch {
	case err != nil:
		return 0, 0, err
	case k.Quantity != Gap:
		return 0, 0, fmt.Errorf("%q is one figure, no range: %w", shortened(text), errNoFigure)
	}
	return rounded(middle - gapStep), rounded(middle + gapStep), nil
}

// cutWord takes a word off the beginning, letter case aside.
func cutWord(text, word string) (rest string, ok bool) {
	if len(text) < len(word) || !strings.EqualFold(text[:len(word)], word) {
		return text, false
	}
	return text[len(word):], true
}

// tolerance are the ends of a figure and how far it may be off, in a unit or in percent.
func (k *Kind) tolerance(middle, off string) (low, high float64, err error) {
	by, err := parseMeasured(off)
	if err != nil {
		return 0, 0, fmt.Errorf("%w; %w", err, errNoFigure)
	}
	share := by.unit == "%" && k.dimension != percent
	usual := by.unit
	if share {
		usual = ""
	}
	value, err := k.figure(middle, usual)
	switch {
	case err != nil:
		return 0, 0, err
	case share:
		by.number *= value / 100
	default:
		if by.number, err = k.figure(off, ""); err != nil {
			return 0, 0, err
		}
	}
	return rounded(value - by.number), rounded(value + by.number), nil
}

// figure is one figure in the kind's unit; usual is its unit where it has none of its own.
func (k *Kind) figure(text, usual string) (float64, error) {
	m, err := parseMeasured(text)
	if err != nil {
		return 0, fmt.Errorf("%w; %w", err, errNoFigure)
	}
	v, err := m.in(k.dimension, usual)
	if err != nil {
		return 0, fmt.Errorf("maker's figure: %w", err)
	}
	if v = rounded(v / base(k.Unit)); v < 0 || v > k.most {
		return 0, fmt.Errorf("maker's figure %q: no %s is like that: check the unit", shortened(text), k.Name)
	}
	return v, nil
}
