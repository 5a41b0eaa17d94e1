package views

import (
	"io"

	"stumble/misfire/cause"
	"stumble/views/say"
)

// WriteCausesBrief writes causes in short, for the end of something else; nothing when there is nothing to explain. The
// error is w's.
func WriteCausesBrief(w io.Writer, r *cause.Result) error {
	if r == nil || len(r.Ranked) == 0 {
		return nil
	}
	var p page
	p.gap()
	p.paragraph("", say.English().Causes(r))
	_, err := io.WriteString(w, p.String())
	return err
}
