package report

import (
	"strings"
	"stumble/views/say"
)

// withoutOpening is a sentence whose first word is told beside it: "Proven: cylinder 2 ..." is "Cylinder 2 ...".
func withoutOpening(sentence, word string) string {
	if rest, ok := strings.CutPrefix(sentence, word+": "); ok {
		return say.Capital(rest)
	}
	return sentence
}

// firstSentence is a text up to its first full stop that ends a sentence.
func firstSentence(text string) string {
	if first, _, more := strings.Cut(text, ". "); more {
		return first + "."
	}
	return text
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
