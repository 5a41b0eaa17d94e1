package views

import (
	"strings"
	"unicode"

	"github.com/rivo/uniseg"
)

// printable keeps control characters of names and notes from reaching the terminal.
func printable(r rune) rune {
	if unicode.IsControl(r) {
		return ' '
	}
	return r
}

// width is the cells that a text takes.
func width(s string) int { return uniseg.StringWidth(s) }

// cut shortens a text to w cells, with a sign that it was cut.
func cut(s string, w int, more rune) string {
	switch {
	case width(s) <= w:
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

// tail is the last w cells of a text: what a line being typed shows.
func tail(s string, w int) string {
	for width(s) > w && s != "" {
		_, s, _, _ = uniseg.FirstGraphemeClusterInString(s, -1)
	}
	return s
}

// wrap breaks a text at spaces into lines of at most w cells; a longer word is broken where it must be.
func wrap(s string, w int) []string {
	if w <= 0 {
		return nil
	}
	var lines []string
	line := ""
	for _, word := range strings.Fields(s) {
		for width(word) > w {
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
		case width(line)+1+width(word) <= w:
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
