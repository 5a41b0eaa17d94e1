package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
)

// textWidth is the width of printed text, in columns.
const textWidth = 80

// output remembers that it failed: a full disk must not pass for a healthy engine.
type output struct {
	io.Writer
	err error
}

func (o *output) Write(p []byte) (int, error) {
	n, err := o.Writer.Write(p)
	if err != nil && o.err == nil {
		o.err = fmt.Errorf("cannot write the result: %w; write it elsewhere", err)
	}
	return n, o.err
}

// writeJSON writes an object on a line of its own.
func writeJSON(w io.Writer, object any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(object)
}

// writeWrapped writes a text behind a label, its further lines under the first. A text that is indented shows what
// to type and is left as it is.
func writeWrapped(w io.Writer, label, text string) {
	if strings.HasPrefix(text, " ") || strings.HasPrefix(text, "\t") {
		fmt.Fprintln(w, strings.ReplaceAll(text, "\t", "  "))
		return
	}
	line := label
	for word := range strings.FieldsSeq(text) {
		if len(line) > len(label) && len(line)+1+len(word) > textWidth {
			fmt.Fprintln(w, strings.TrimRight(line, " "))
			line = strings.Repeat(" ", len(label))
			label = line
		}
		if len(line) > len(label) {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, line)
}
