package wrap

import (
	"strings"

	"github.com/rivo/uniseg"
)

// Lines breaks a text into lines that are at most so wide, where the line-breaking rules of Unicode (UAX 14) allow it;
// a word longer than a line is cut between characters. Newlines part paragraphs. There is always at least one line.
// width measures a piece of a line, in the unit of the limit.
func Lines(text string, limit float64, width func(string) float64) (lines []string) {
	for paragraph := range strings.SplitSeq(text, "\n") {
		lines = append(lines, broken(paragraph, limit, width)...)
	}
	return lines
}

func broken(text string, limit float64, width func(string) float64) (lines []string) {
	if width(text) <= limit {
		return []string{strings.TrimRight(text, " ")}
	}
	var line strings.Builder
	long, state := 0.0, -1
	for text != "" {
		var piece string
		piece, text, _, state = uniseg.FirstLineSegmentInString(text, state)
		word := strings.TrimRight(piece, " ")
		if long+width(word) > limit && line.Len() > 0 {
			lines = append(lines, strings.TrimRight(line.String(), " "))
			line.Reset()
			long = 0
		}
		full, rest := hewn(word, limit, width)
		lines = append(lines, full...)
		if len(full) > 0 {
			piece = rest + piece[len(word):]
		}
		line.WriteString(piece)
		long += width(piece)
	}
	return append(lines, strings.TrimRight(line.String(), " "))
}

// hewn takes whole lines off a word that may be longer than a line, and returns what is left of it.
func hewn(word string, limit float64, width func(string) float64) (full []string, rest string) {
	if width(word) <= limit {
		return nil, word
	}
	line, long, state := "", 0.0, -1
	for word != "" {
		var character string
		character, word, _, state = uniseg.FirstGraphemeClusterInString(word, state)
		w := width(character)
		if line != "" && long+w > limit {
			full = append(full, line)
			line, long = "", 0
		}
		line += character
		long += w
	}
	return full, line
}

// LongestWord is the width of the widest piece of a text within which no line may be broken (UAX 14).
func LongestWord(text string, width func(string) float64) (longest float64) {
	state := -1
	for text != "" {
		var piece string
		piece, text, _, state = uniseg.FirstLineSegmentInString(text, state)
		longest = max(longest, width(strings.TrimRight(piece, " \n")))
	}
	return longest
}
