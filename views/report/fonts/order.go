package fonts

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/unicode/bidi"
)

// stretch is a part of a line that runs one way.
type stretch struct {
	text  string // as it is read
	right bool   // from right to left
}

// The marks around a text that is laid out by itself (UAX 9, FSI and PDI), and what stands for it in the text around.
const (
	isolateBegins = '\u2068'
	isolateEnds   = '\u2069'
	placeholder   = '\ufffc'
)

// order gives the stretches of a line from left to right on paper.
func order(line string) []stretch {
	if leftToRight(line) {
		return []stretch{{text: withoutMarks(line)}}
	}
	return outerOf(line).stretches()
}

// leftToRight tells a line without anything that runs from right to left, as most are.
func leftToRight(line string) bool {
	for _, r := range line {
		if r < 0x590 {
			continue
		}
		switch classOf(r) {
		case bidi.R, bidi.AL, bidi.AN, bidi.RLE, bidi.RLO, bidi.RLI:
			return false
		}
	}
	return true
}

func withoutMarks(s string) string {
	if !strings.ContainsFunc(s, isMark) {
		return s
	}
	return strings.Map(func(r rune) rune {
		if isMark(r) {
			return -1
		}
		return r
	}, s)
}

func isMark(r rune) bool { return unicode.Is(unicode.Bidi_Control, r) }

// outerText is a text with the isolated ones within it taken out. A placeholder stands for each.
type outerText struct {
	letters []rune
	inner   map[int]string // by the place of the placeholder
}

func outerOf(line string) *outerText {
	t := &outerText{inner: make(map[int]string)}
	var within strings.Builder
	depth := 0
	for _, r := range line + string(isolateEnds) {
		switch {
		case r == isolateBegins:
			depth++
		case r == isolateEnds && depth == 1:
			t.inner[len(t.letters)] = within.String()
			t.letters = append(t.letters, placeholder)
			within.Reset()
			depth = 0
		case r == isolateEnds && depth > 1:
			depth--
		case r == placeholder || isMark(r):
			// only ours count
		case depth > 0:
			within.WriteRune(r)
		default:
			t.letters = append(t.letters, r)
		}
	}
	return t
}

// span is a part of a text that runs one way.
type span struct {
	from, to int // letters
	right    bool
}

// stretches gives a text in the order on paper, with what is isolated in its place.
func (t *outerText) stretches() (all []stretch) {
	for _, s := range t.arranged(t.numbersApart(t.spans())) {
		parts := t.parts(s)
		if s.right {
			slices.Reverse(parts)
		}
		for _, part := range parts {
			if inner, ok := t.inner[part.from]; ok {
				all = append(all, outerOf(inner).stretches()...)
			} else {
				all = append(all, stretch{string(t.letters[part.from:part.to]), part.right})
			}
		}
	}
	return all
}

// parts cuts a span at its placeholders.
func (t *outerText) parts(s span) (parts []span) {
	from := s.from
	for i := s.from; i <= s.to; i++ {
		if i < s.to && t.letters[i] != placeholder {
			continue
		}
		if i > from {
			parts = append(parts, span{from, i, s.right})
		}
		if i < s.to {
			parts = append(parts, span{i, i + 1, s.right})
		}
		from = i + 1
	}
	return parts
}

// spans are the parts that run one way, in the order of reading.
func (t *outerText) spans() (found []span) {
	var p bidi.Paragraph
	if len(t.letters) == 0 {
		return nil
	}
	whole := []span{{to: len(t.letters)}}
	if _, err := p.SetString(string(t.letters)); err != nil {
		return whole
	}
	ordered, err := p.Order()
	if err != nil {
		return whole
	}
	for i := range ordered.NumRuns() {
		run := ordered.Run(i)
		from, last := run.Pos()
		found = append(found, span{from, last + 1, run.Direction() == bidi.RightToLeft})
	}
	return found
}

// numbersApart parts a number that follows letters from right to left, and belongs to them, from what comes after it:
// both are told as one.
func (t *outerText) numbersApart(found []span) (parted []span) {
	for i, s := range found {
		at := slices.IndexFunc(t.letters[s.from:s.to], func(r rune) bool { return classOf(r) == bidi.L })
		digit := -1
		if at > 0 && i > 0 && !s.right {
			digit = lastDigit(t.letters[s.from : s.from+at])
		}
		if digit >= 0 {
			cut := s.from + digit + 1
			parted = append(parted, span{from: s.from, to: cut})
			s.from = cut
		}
		parted = append(parted, s)
	}
	return parted
}

func lastDigit(letters []rune) int {
	for i := len(letters) - 1; i >= 0; i-- {
		if unicode.IsDigit(letters[i]) {
			return i
		}
	}
	return -1
}

func classOf(r rune) bidi.Class {
	properties, _ := bidi.LookupRune(r)
	return properties.Class()
}

// arranged puts spans in their order on paper (rule L2). In a text from right to left the last is leftmost; else what
// runs from right to left is turned together with the numbers within it.
func (t *outerText) arranged(found []span) []span {
	if t.fromRight() {
		slices.Reverse(found)
		return found
	}
	for i := 0; i < len(found); i++ {
		end := i
		for end < len(found) && (found[end].right || end > i && t.onlyNumber(found[end])) {
			end++
		}
		if end > i {
			slices.Reverse(found[i:end])
			i = end - 1
		}
	}
	return found
}

// fromRight is the direction of the first letter that has one (rule P2).
func (t *outerText) fromRight() bool {
	for _, r := range t.letters {
		switch classOf(r) {
		case bidi.L:
			return false
		case bidi.R, bidi.AL:
			return true
		}
	}
	return false
}

func (t *outerText) onlyNumber(s span) bool {
	letters := t.letters[s.from:s.to]
	return lastDigit(letters) >= 0 && !slices.ContainsFunc(letters, func(r rune) bool { return classOf(r) == bidi.L })
}
