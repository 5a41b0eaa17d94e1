package chart

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"regexp"
	"strconv"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// families are asked for in turn: all have letters of the widths that the chart was laid out with, but the last. Texts
// are told their length, so that they keep their place in whatever face they are set.
const families = "'Liberation Sans',Arimo,Arial,Helvetica,sans-serif"

var (
	svgColour = regexp.MustCompile(`(fill|stroke):(#[0-9A-F]{6})`)
	svgText   = regexp.MustCompile(`<text ([^>]*font-size:([0-9.]+)px[^>]*)>([^<]*)</text>`)
	svgFamily = regexp.MustCompile(`font-family:[^;"]*;font-variant:[a-z]*;font-weight:normal;font-style:normal`)
)

// WriteSVG writes the chart as one svg element to stand within an HTML page. Its colours are those for white paper
// unless the page sets [Variables]; nothing is painted behind it. It has no identifiers and refers to nothing outside.
// The error is w's.
func (c *Chart) WriteSVG(w io.Writer) error {
	canvas := vgsvg.NewWith(vgsvg.UseWH(c.width, c.height))
	c.paint(draw.New(canvas))
	var drawn bytes.Buffer
	if _, err := canvas.WriteTo(&drawn); err != nil {
		return fmt.Errorf("drawing a chart: %w", err)
	}
	_, err := w.Write(c.adapt(drawn.Bytes()))
	if err != nil {
		return fmt.Errorf("writing a chart: %w", err)
	}
	return nil
}

// adapt makes a drawing that stands alone one that stands within a page.
func (c *Chart) adapt(drawing []byte) []byte {
	_, body, _ := bytes.Cut(drawing, []byte("<svg"))
	_, body, _ = bytes.Cut(body, []byte(">\n"))
	body = svgText.ReplaceAllFunc(body, func(found []byte) []byte {
		parts := svgText.FindSubmatch(found)
		size, err := strconv.ParseFloat(string(parts[2]), 64)
		if err != nil {
			return found
		}
		length := style(ink, vg.Length(size), draw.XLeft).Width(html.UnescapeString(string(parts[3])))
		return fmt.Appendf(nil, `<text textLength="%.5g" lengthAdjust="spacingAndGlyphs" %s>%s</text>`, length.Points(), parts[1], parts[3])
	})
	body = svgFamily.ReplaceAll(body, []byte("font-family:"+families))
	names := make(map[string]string)
	for _, r := range palette() {
		names[hex(r.paper)] = r.name
	}
	body = svgColour.ReplaceAllFunc(body, func(found []byte) []byte {
		property, colour, _ := bytes.Cut(found, []byte(":"))
		if name, ok := names[string(colour)]; ok {
			return fmt.Appendf(nil, "%s:var(--chart-%s,%s)", property, name, colour)
		}
		return found
	})
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg class="chart" role="img" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.5g %.5g" width="%.5gpt" height="%.5gpt">`,
		c.width.Points(), c.height.Points(), c.width.Points(), c.height.Points())
	fmt.Fprintf(&b, "\n<title>%s</title>\n<desc>%s</desc>\n", html.EscapeString(c.title), html.EscapeString(c.about))
	b.Write(body)
	return b.Bytes()
}
