package report

import (
	"strings"
	"unicode"

	"github.com/rivo/uniseg"

	"stumble/views/wrap"
)

// width is the number of terminal cells that a text takes.
func width(s string) int { return uniseg.StringWidth(bare(s)) }

// wrapped breaks a text into lines of at most limit cells; see [wrap.Lines].
func wrapped(s string, limit int) []string { return wrap.Lines(s, float64(limit), cells) }

// cells is width as texts are wrapped by it.
func cells(s string) float64 { return float64(width(s)) }

// pad fills a text with spaces up to a width.
func pad(s string, to int, right bool) string {
	fill := strings.Repeat(" ", max(0, to-width(s)))
	if right {
		return fill + s
	}
	return s + fill
}

// The marks around a text of another direction than what it stands in: it is laid out by itself (UAX 9, FSI and PDI).
const (
	isolateBegins = "\u2068"
	isolateEnds   = "\u2069"
)

// isolate is foreign for a text within a sentence or a cell, which may be written from right to left.
func isolate(s string) string {
	if s = foreign(s); s == "" {
		return ""
	}
	return isolateBegins + s + isolateEnds
}

// bare is a text without the marks of isolate.
func bare(s string) string {
	if !strings.Contains(s, isolateBegins) && !strings.Contains(s, isolateEnds) {
		return s
	}
	return strings.NewReplacer(isolateBegins, "", isolateEnds, "").Replace(s)
}

// foreign makes a text from outside fit to print: no control characters, which could move the cursor, and
// none that turn the direction of writing, which would shuffle the columns beside it.
func foreign(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), r == '\u2028', r == '\u2029', unicode.Is(unicode.Bidi_Control, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
	return strings.TrimSpace(s)
}

// isolatedLines are the lines of a text from outside that say something.
func isolatedLines(text string) (lines []string) {
	for line := range strings.Lines(text) {
		if line = isolate(line); line != "" {
			lines = append(lines, line)
		}
	}
	return lines
}
