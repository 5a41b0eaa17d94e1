package main

import (
	"fmt"
	"io"
	"strings"
	"stumble/views/wrap"
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

// writeWrapped writes a text behind a label, its further lines under the first. A text that is indented shows what
// to type and is left as it is.
func writeWrapped(w io.Writer, label, text string) {
	if strings.HasPrefix(text, " ") || strings.HasPrefix(text, "\t") {
		fmt.Fprintln(w, strings.ReplaceAll(text, "\t", "  "))
		return
	}
	for _, line := range wrap.Text(text, textWidth-len(label)) {
		fmt.Fprintln(w, label+line)
		label = strings.Repeat(" ", len(label))
	}
}
