package report

import (
	"strings"
)

// withoutOpening is a sentence whose first word is told beside it: "Proven: cylinder 2 ..." is "Cylinder 2 ...".
func withoutOpening(sentence, word string) string {
	if rest, ok := strings.CutPrefix(sentence, word+": "); ok {
		return capital(rest)
	}
	return sentence
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
