package fonts

import (
	"strings"

	"stumble/views/wrap"
)

// Wrap breaks a text into lines of at most so many ems; see [wrap.Lines].
func (l *Library) Wrap(text string, bold bool, limit float64) []string {
	return wrap.Lines(text, limit, l.measure(bold))
}

// Longest is the width of a text's longest line, and of its longest word, in ems.
func (l *Library) Longest(text string, bold bool) (line, word float64) {
	for part := range strings.SplitSeq(text, "\n") {
		line = max(line, l.Width(part, bold))
		word = max(word, wrap.LongestWord(part, l.measure(bold)))
	}
	return line, word
}

func (l *Library) measure(bold bool) func(string) float64 {
	return func(text string) float64 { return l.Width(text, bold) }
}
