package report

import (
	"encoding/xml"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// element is one element of a page, with what stands in it.
type element struct {
	name     string
	attr     map[string]string
	children []*element
	text     string // its own and that of its children
}

// find gives every element of a name below it, in order.
func (e *element) find(names ...string) (found []*element) {
	for _, c := range e.children {
		if slices.Contains(names, c.name) {
			found = append(found, c)
		}
		found = append(found, c.find(names...)...)
	}
	return found
}

// parsed reads a page: every element that is opened must be closed, but for those that HTML leaves open.
func parsed(t testing.TB, page string) *element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, []string{"meta", "br", "hr", "img"}, xml.HTMLEntity
	root := &element{}
	open := []*element{root}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		top := open[len(open)-1]
		switch token := token.(type) {
		case xml.StartElement:
			e := &element{name: token.Name.Local, attr: make(map[string]string)}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			top.children = append(top.children, e)
			open = append(open, e)
		case xml.EndElement:
			require.Equal(t, top.name, token.Name.Local, "an element is closed that was not opened last")
			open = open[:len(open)-1]
		case xml.CharData:
			for _, e := range open {
				e.text += string(token)
			}
		}
	}
	require.Len(t, open, 1, "%s is left open", open[len(open)-1].name)
	return root
}

func page(t testing.TB, d *Document) string {
	t.Helper()
	return text(t, func(b *strings.Builder) error { return d.WriteHTML(b) })
}

// A page has all it needs within itself, and nothing in it can run.
func TestPageStandsAlone(t *testing.T) {
	for name, c := range allCases(t) {
		html := page(t, Compose(c, Options{}))
		requireWhole(t, name, html)
		assert.NotContains(t, html, isolateBegins, name)
		root := parsed(t, html)
		assert.Empty(t, root.find("script", "link", "iframe", "object", "embed", "form", "base", "use", "image", "a"), name)
		for _, e := range root.find("img", "svg", "div", "section", "table", "td", "th", "meta") {
			for key, value := range e.attr {
				assert.False(t, strings.HasPrefix(key, "on"), "%s: %s", name, key)
				if key != "xmlns" {
					assert.NotContains(t, value, "//", "%s: %s of %s", name, key, e.name)
				}
			}
		}
		for _, style := range root.find("style") {
			assert.NotContains(t, style.text, "url(", name)
			assert.NotContains(t, style.text, "@import", name)
		}
	}
}

// Who cannot see the page hears it in order: headings that skip no level, tables that are named and whose cells are
// named by row and column, charts that say what they show.
func TestPageIsAccessible(t *testing.T) {
	for name, c := range allCases(t) {
		root := parsed(t, page(t, Compose(c, Options{})))
		html := root.find("html")[0]
		assert.Equal(t, "en", html.attr["lang"])
		assert.NotEmpty(t, root.find("title")[0].text)
		require.Len(t, root.find("main"), 1)
		level := 0
		for _, h := range root.find("h1", "h2", "h3", "h4", "h5", "h6") {
			now := int(h.name[1] - '0')
			assert.LessOrEqual(t, now, level+1, "%s: %s skips a level", name, h.text)
			assert.NotEmpty(t, strings.TrimSpace(h.text))
			level = now
		}
		assert.Len(t, root.find("h1"), 1)
		ids := make(map[string]bool)
		for _, table := range root.find("table") {
			for _, th := range table.find("th") {
				assert.Contains(t, []string{"row", "col", "rowgroup", "colgroup"}, th.attr["scope"])
			}
			assert.NotEmpty(t, table.find("th"), "%s: no cell of a table names another: %.60s", name, table.text)
			for _, caption := range table.find("caption") {
				assert.False(t, ids[caption.attr["id"]], "an id is there twice")
				ids[caption.attr["id"]] = true
			}
		}
		for _, box := range root.find("section") {
			assert.Equal(t, "0", box.attr["tabindex"], "what scrolls can be reached by keyboard")
			assert.True(t, ids[box.attr["aria-labelledby"]], "%s: %v", name, box.attr)
		}
		for _, svg := range root.find("svg") {
			assert.Equal(t, "img", svg.attr["role"])
			require.Len(t, svg.find("title"), 1)
			assert.NotEmpty(t, svg.find("title")[0].text)
			assert.NotEmpty(t, svg.find("desc")[0].text)
		}
	}
}

// Text and page say the same: every word and every figure of the document is in both, and the figures of a chart are in
// the words that stand for it.
func TestFormsSayTheSame(t *testing.T) {
	for name, c := range allCases(t) {
		for _, o := range []Options{{}, {Units: US, Paper: Letter}} {
			if testing.Short() && o.Units == US {
				continue
			}
			d := Compose(c, o)
			root := parsed(t, strings.NewReplacer("<br>", " ", "</td>", " </td>", "</th>", " </th>", "</p>", " </p>").Replace(page(t, d)))
			requireWords(t, wordsOf(d, true), root.find("body")[0].text)
			requireWords(t, wordsOf(d, false), reportText(t, d, 2000))
			told := root.text
			for _, f := range figuresOf(d) {
				assert.Contains(t, told, bare(f.alt), name)
			}
		}
	}
}

// A name from outside is shown as it is, and does nothing.
func TestPageIsNotFooledByNames(t *testing.T) {
	c := worked(t)
	c.Job.Vehicle = `<script>alert(1)</script> & "Wren" </title>`
	c.Job.Complaint = "\u202emisses\u2069 <b>"
	c.Shop.Name = "</style><img src=x onerror=alert(1)>"
	c.Drives[0].Name = "\" onmouseover=\"x"
	html := page(t, Compose(c, Options{}))
	root := parsed(t, html)
	assert.Empty(t, root.find("script"))
	assert.Empty(t, root.find("img"))
	body := root.find("body")[0].text
	for _, shown := range []string{c.Job.Vehicle, "misses <b>", c.Shop.Name, c.Drives[0].Name} {
		assert.Contains(t, body, shown)
	}
	assert.NotContains(t, html, "\u202e")
	assert.Contains(t, html, "<bdi>")
}

// The logo is within the page, and the paper is the one that was asked for.
func TestPageOfTheShop(t *testing.T) {
	c := worked(t)
	c.Shop.Logo = testLogo(t, 60, 30)
	root := parsed(t, page(t, Compose(c, Options{Paper: Letter})))
	img := root.find("img")[0]
	assert.True(t, strings.HasPrefix(img.attr["src"], "data:image/png;base64,"))
	assert.Equal(t, "60", img.attr["width"])
	assert.Contains(t, root.find("style")[0].text, "size: 215.9mm 279.4mm")
	assert.Contains(t, root.find("header")[0].text, "Corner Garage")
	c.Shop = Shop{}
	assert.Empty(t, parsed(t, page(t, Compose(c, Options{}))).find("header"))
}

// The standard's own rules, by a checker that knows them: npm install --global html-validate@10.17.0 (Node 20 or newer).
func TestPageIsValid(t *testing.T) {
	checker, err := exec.LookPath("html-validate")
	if err != nil {
		const hint = "html-validate is not installed: npm install --global html-validate@10.17.0"
		require.NotEqual(t, "1", os.Getenv("STUMBLE_HTML_VALIDATE"), hint)
		t.Skip(hint)
	}
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, ".htmlvalidate.json"),
		[]byte(`{"root": true, "extends": ["html-validate:standard", "html-validate:a11y"]}`), 0o644))
	cases := allCases(t)
	cases["logo"] = worked(t)
	cases["logo"].Shop.Logo = testLogo(t, 60, 30)
	for name, c := range cases {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".html"), []byte(page(t, Compose(c, Options{}))), 0o644))
	}
	check := exec.CommandContext(t.Context(), checker, "--formatter", "text", ".")
	check.Dir = dir
	said, err := check.CombinedOutput()
	require.NoError(t, err, "%s", said)
}

// Ten hours with sixteen cylinders, hundreds of marks and charts twice over still go through the post.
func TestLongDrivesStaySmall(t *testing.T) {
	const mebibyte = 1 << 20
	assert.Less(t, len(page(t, Compose(crowded(t), Options{}))), 3*mebibyte)
}
