package report

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html"
	"io"
	"strings"

	"stumble/views/report/chart"
)

//go:embed page.css
var pageStyle string

// WriteHTML lays the document out as one HTML page with all it needs within itself: no script, nothing fetched, fit for
// a telephone, a screen that is light or dark, and the printer. An error is what w reported.
func (d *Document) WriteHTML(w io.Writer) error {
	p := htmlPage{}
	p.begin(d)
	for _, b := range d.blocks {
		if err := p.block(b); err != nil {
			return err
		}
	}
	p.line("</main>\n</body>\n</html>")
	if _, err := w.Write(p.out.Bytes()); err != nil {
		return fmt.Errorf("writing the report: %w", err)
	}
	return nil
}

type htmlPage struct {
	out    bytes.Buffer
	tables int
}

func (p *htmlPage) line(format string, args ...any) {
	fmt.Fprintf(&p.out, format, args...)
	p.out.WriteByte('\n')
}

func (p *htmlPage) begin(d *Document) {
	width, height := d.paper.Millimetres()
	p.line(`<!DOCTYPE html>
<html lang="%s" dir="ltr">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta name="format-detection" content="telephone=no">
<title>%s</title>
<style>
:root { %s }
@media screen and (prefers-color-scheme: dark) { :root { %s } }
@page { size: %gmm %gmm; }
%s</style>
</head>
<body>
<main>`, html.EscapeString(d.Language()), html.EscapeString(d.title), chart.Variables(false), chart.Variables(true), width, height, pageStyle)
}

// block writes one block.
func (p *htmlPage) block(b block) error {
	switch b := b.(type) {
	case masthead:
		p.masthead(b)
	case heading:
		p.line("<h%d>%s</h%[1]d>", b.level, inline(b.text))
	case finding:
		p.line(`<div class="finding %s"><p class="word">%s</p><p class="said">%s</p></div>`, b.tone.class(), inline(b.word), inline(b.text))
	case paragraph:
		p.line("<p>%s</p>", inline(string(b)))
	case note:
		p.line(`<p class="note">%s</p>`, inline(string(b)))
	case caution:
		p.line(`<p class="caution">%s</p>`, inline(string(b)))
	case list:
		p.line("<ul>")
		for _, item := range b {
			p.line("<li>%s</li>", inline(item))
		}
		p.line("</ul>")
	case *table:
		p.table(b)
	case *figure:
		return p.figure(b)
	case signatures:
		p.signatures(b)
	case pageBreak:
		p.line(`<hr class="part">`)
	}
	return nil
}

func (t tone) class() string {
	switch t {
	case toneGood:
		return "good"
	case toneBad:
		return "bad"
	}
	return "open"
}

// inline is a text within an element. What comes from outside is laid out by its own direction, newlines break lines.
func inline(s string) string {
	s = html.EscapeString(s)
	return strings.NewReplacer(isolateBegins, "<bdi>", isolateEnds, "</bdi>", "\n", "<br>").Replace(s)
}

func (p *htmlPage) masthead(m masthead) {
	p.line(`<header class="masthead">`)
	if l := m.logo; l != nil {
		p.line(`<img src="data:%s;base64,%s" width="%d" height="%d" alt="">`, l.Media, base64.StdEncoding.EncodeToString(l.Data), l.Width, l.Height)
	}
	p.line("<address>")
	if m.name != "" {
		p.line("<strong>%s</strong>", inline(m.name))
	}
	for i, line := range m.lines {
		if i > 0 || m.name != "" {
			p.out.WriteString("<br>")
		}
		p.line("%s", inline(line))
	}
	p.line("</address>\n</header>")
}

// table writes a table within a box that scrolls sideways where the page is too narrow for it: a keyboard must reach
// it, and who cannot see it hears what it is.
func (p *htmlPage) table(t *table) {
	p.tables++
	class := "rows"
	if !t.titled() {
		class = "facts"
	}
	box := "div"
	if t.caption != "" {
		box = "section"
		p.line(`<section class="scroll" tabindex="0" aria-labelledby="table-%d">`, p.tables)
	} else {
		p.line(`<div class="scroll">`)
	}
	p.line(`<table class="%s">`, class)
	if t.caption != "" {
		p.line(`<caption id="table-%d">%s</caption>`, p.tables, inline(t.caption))
	}
	if t.titled() {
		p.tableHead(t)
	}
	open := false
	for i := range t.rows {
		r := &t.rows[i]
		if !open || r.kind == rowBand {
			if open {
				p.line("</tbody>")
			}
			p.line("<tbody>")
			open = true
		}
		p.row(t, r)
	}
	p.line("</tbody>\n</table>\n</%s>", box)
}

func (p *htmlPage) tableHead(t *table) {
	p.line("<thead>")
	if len(t.groups) > 0 {
		p.out.WriteString("<tr>")
		for _, g := range t.groups {
			if g.title == "" {
				fmt.Fprintf(&p.out, `<td colspan="%d"></td>`, g.over)
			} else {
				fmt.Fprintf(&p.out, `<th scope="colgroup" colspan="%d">%s</th>`, g.over, inline(g.title))
			}
		}
		p.line("</tr>")
	}
	p.out.WriteString("<tr>")
	for _, c := range t.columns {
		if c.title == "" {
			fmt.Fprintf(&p.out, "<td%s></td>", c.class())
		} else {
			fmt.Fprintf(&p.out, `<th scope="col"%s>%s</th>`, c.class(), inline(c.title))
		}
	}
	p.line("</tr>\n</thead>")
}

// class is how a column's cells are set.
func (c column) class() string {
	var classes []string
	if c.right {
		classes = append(classes, "right")
	}
	if c.firm {
		classes = append(classes, "firm")
	}
	if len(classes) == 0 {
		return ""
	}
	return ` class="` + strings.Join(classes, " ") + `"`
}

func (p *htmlPage) row(t *table, r *row) {
	switch r.kind {
	case rowBand:
		p.line(`<tr class="band"><th scope="rowgroup" colspan="%d">%s</th></tr>`, len(t.columns), inline(r.cells[0]))
		return
	case rowTotal:
		p.out.WriteString(`<tr class="total">`)
	case rowLoud:
		p.out.WriteString(`<tr class="loud">`)
	default:
		p.out.WriteString("<tr>")
	}
	for i, cell := range r.cells {
		c := t.columns[i]
		text := inline(cell)
		if c.lead {
			text = lead(cell)
		}
		if c.head {
			fmt.Fprintf(&p.out, `<th scope="row"%s>%s</th>`, c.class(), text)
		} else {
			fmt.Fprintf(&p.out, `<td%s>%s</td>`, c.class(), text)
		}
	}
	p.line("</tr>")
}

// lead is a cell whose first line counts and the others explain it.
func lead(cell string) string {
	first, rest, more := strings.Cut(cell, "\n")
	if !more {
		return inline(cell)
	}
	return "<b>" + inline(first) + "</b><br><small>" + inline(rest) + "</small>"
}

// figure writes a chart twice where it has a narrow form: the style sheet shows the one that fits.
func (p *htmlPage) figure(f *figure) error {
	p.line("<figure>")
	class := ""
	if f.narrow != nil {
		class = "wide"
	}
	for _, form := range []struct {
		chart drawing
		class string
	}{{f.chart, class}, {f.narrow, "narrow"}} {
		if form.chart == nil {
			continue
		}
		p.line(`<div class="%s">`, strings.TrimSpace("chart "+form.class))
		if err := form.chart.WriteSVG(&p.out); err != nil {
			return err
		}
		p.line("</div>")
	}
	p.line("<figcaption>%s</figcaption>\n</figure>", inline(f.caption))
	return nil
}

func (p *htmlPage) signatures(lines signatures) {
	for _, s := range lines {
		p.line(`<div class="sign"><p>%s</p><p>%s</p></div>`, inline(s.who), inline(s.date))
	}
}
