// Package wrap fits text to columns: how wide it is, how it is cut, and where lines are broken.
package wrap

import (
	"strings"
	"unicode"

	"github.com/rivo/uniseg"
)

// Printable keeps control characters of names and notes from reaching the terminal.
func Printable(r rune) rune {
	if unicode.IsControl(r) {
		return ' '
	}
	return r
}

// Width is the cells that a text takes.
func Width(s string) int { return uniseg.StringWidth(s) }

// Cut shortens a text to w cells, with a sign that it was cut.
func Cut(s string, w int, more rune) string {
	switch {
	case Width(s) <= w:
		return s
	case w <= 0:
		return ""
	}
	return head(s, w-1) + string(more)
}

// head is the longest beginning of a text within w cells.
func head(s string, w int) string {
	rest := s
	for rest != "" {
		_, after, n, _ := uniseg.FirstGraphemeClusterInString(rest, -1)
		if n > w {
			break
		}
		w, rest = w-n, after
	}
	return s[:len(s)-len(rest)]
}

// Tail is the last w cells of a text: what a line being typed shows.
func Tail(s string, w int) string {
	for Width(s) > w && s != "" {
		_, s, _, _ = uniseg.FirstGraphemeClusterInString(s, -1)
	}
	return s
}

// Text breaks a text at spaces into lines of at most w cells; a longer word is broken where it must be.
func Text(s string, w int) []string {
	if w <= 0 {
		return nil
	}
	var lines []string
	line := ""
	for _, word := range strings.FieldsFunc(s, breakable) {
		word = strings.ReplaceAll(word, FirmSpace, " ")
		for Width(word) > w {
			part := head(word, w)
			if part == "" { // a wide character in a single cell
				return lines
			}
			if line != "" {
				lines, line = append(lines, line), ""
			}
			lines, word = append(lines, part), word[len(part):]
		}
		switch {
		case line == "":
			line = word
		case Width(line)+1+Width(word) <= w:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// FirmSpace joins a figure to its unit: no line is broken there. It is shown as a plain space.
const FirmSpace = "\u00a0"

func breakable(r rune) bool { return unicode.IsSpace(r) && string(r) != FirmSpace }

// Longest is the first wording that fits in w cells, else the last one.
func Longest(w int, wordings ...string) string {
	for _, words := range wordings {
		if Width(words) <= w {
			return words
		}
	}
	return wordings[len(wordings)-1]
}
