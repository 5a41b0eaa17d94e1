package fonts

import (
	"strings"

	"github.com/rivo/uniseg"
)

// Wrap breaks a text into lines of at most so many ems, where the line-breaking rules of Unicode (UAX 14) allow it; a
// word longer than a line is cut between characters. Newlines part paragraphs. There is always at least one line.
func (l *Library) Wrap(text string, bold bool, limit float64) (lines []string) {
	for part := range strings.SplitSeq(text, "\n") {
		lines = append(lines, l.wrapParagraph(part, bold, limit)...)
	}
	return lines
}

// Longest is the width of a text's longest line, and of its longest word, in ems.
func (l *Library) Longest(text string, bold bool) (line, word float64) {
	for part := range strings.SplitSeq(text, "\n") {
		line = max(line, l.Width(part, bold))
		state := -1
		for part != "" {
			var piece string
			piece, part, _, state = uniseg.FirstLineSegmentInString(part, state)
			word = max(word, l.Width(strings.TrimRight(piece, " "), bold))
		}
	}
	return line, word
}

func (l *Library) wrapParagraph(text string, bold bool, limit float64) (lines []string) {
	if l.Width(text, bold) <= limit {
		return []string{text}
	}
	var line strings.Builder
	long, state := 0.0, -1
	for text != "" {
		var piece string
		piece, text, _, state = uniseg.FirstLineSegmentInString(text, state)
		bare := strings.TrimRight(piece, " ")
		if long+l.Width(bare, bold) > limit && line.Len() > 0 {
			lines = append(lines, strings.TrimRight(line.String(), " "))
			line.Reset()
			long = 0
		}
		full, rest := l.cut(bare, bold, limit)
		lines = append(lines, full...)
		if len(full) > 0 {
			piece = rest + piece[len(bare):]
		}
		line.WriteString(piece)
		long += l.Width(piece, bold)
	}
	return append(lines, strings.TrimRight(line.String(), " "))
}

// cut takes whole lines off a piece that may be longer than a line, and returns what is left of it.
func (l *Library) cut(piece string, bold bool, limit float64) (full []string, rest string) {
	if l.Width(piece, bold) <= limit {
		return nil, piece
	}
	line, long, state := "", 0.0, -1
	for piece != "" {
		var character string
		character, piece, _, state = uniseg.FirstGraphemeClusterInString(piece, state)
		w := l.Width(character, bold)
		if line != "" && long+w > limit {
			full = append(full, line)
			line, long = "", 0
		}
		line += character
		long += w
	}
	return full, line
}
