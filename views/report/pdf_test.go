package report

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wordsOf counts the words of a document, whatever form it takes. Pictures speak through their captions, where the form
// has pictures.
func wordsOf(d *Document, pictures bool) map[string]int {
	count := make(map[string]int)
	add := func(texts ...string) {
		for _, text := range texts {
			for _, word := range strings.FieldsFunc(bare(text), unicode.IsSpace) {
				count[word]++
			}
		}
	}
	for _, b := range d.blocks {
		switch b := b.(type) {
		case masthead:
			add(b.name)
			add(b.lines...)
		case heading:
			add(b.text)
		case finding:
			add(b.word, b.text)
		case paragraph:
			add(string(b))
		case note:
			add(string(b))
		case caution:
			add(string(b))
		case list:
			add(b...)
		case *table:
			add(b.caption)
			for _, g := range b.groups {
				add(g.title)
			}
			for _, c := range b.columns {
				add(c.title)
			}
			for _, r := range b.rows {
				add(r.cells...)
			}
		case *figure:
			if pictures || !b.repeats {
				add(b.caption)
			}
		case signatures:
			for _, s := range b {
				add(s.who, s.date)
			}
		}
	}
	return count
}

// requireWords holds a form of the document to having all its words, each as often at least.
func requireWords(t testing.TB, want map[string]int, text string) {
	t.Helper()
	got := make(map[string]int)
	for _, word := range strings.FieldsFunc(bare(text), unicode.IsSpace) {
		got[word]++
	}
	var missing []string
	for word, n := range want {
		if got[word] < n {
			missing = append(missing, fmt.Sprintf("%q is there %d times of %d", word, got[word], n))
		}
	}
	require.Empty(t, missing)
}

// The printed page says what the document says: every word and every figure is read back.
func TestPDFSaysTheSame(t *testing.T) {
	d := Compose(repaired(t), Options{})
	want := wordsOf(d, true)
	require.Greater(t, len(want), 300)
	requireWords(t, want, string(output(t, "pdftotext", "-raw", pdfFile(t, d), "-")))
	requireWords(t, wordsOf(d, false), text(t, func(b *strings.Builder) error { return d.WriteText(b, 500) }))
}

// Names in any script can be searched for, in the order of reading.
func TestPDFNamesReadBack(t *testing.T) {
	for _, name := range foreignNames() {
		d := newDocument(Metric)
		d.head("Names")
		d.say("a " + isolate(name) + " z")
		got := string(output(t, "pdftotext", "-raw", pdfFile(t, d), "-"))
		marks := strings.NewReplacer("\u202a", "", "\u202b", "", "\u202c", "") // pdftotext marks directions so
		got = strings.Join(strings.Fields(marks.Replace(got)), "")
		if strings.ContainsFunc(name, func(r rune) bool { return unicode.In(r, unicode.Arabic, unicode.Hebrew) }) {
			for _, word := range strings.FieldsFunc(name, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
				assert.Contains(t, got, word, name)
			}
			continue
		}
		assert.Contains(t, got, "a"+strings.Join(strings.Fields(name), "")+"z", name)
	}
}

// Every face is within the file, and cut down to what is used.
func TestPDFFacesAreEmbedded(t *testing.T) {
	for name, c := range cases(t) {
		path := pdfFile(t, Compose(c, Options{}))
		lines := strings.Split(strings.TrimSpace(string(output(t, "pdffonts", path))), "\n")
		require.Greater(t, len(lines), 3, name)
		for _, line := range lines[2:] {
			fields := strings.Fields(line)
			assert.Equal(t, []string{"CID", "TrueType", "Identity-H", "yes"}, fields[1:5], "%s: %s", name, line)
		}
	}
}

// Nothing is printed beyond the margins, on either paper, whatever the case: neither words nor drawings.
func TestPDFKeepsItsMargins(t *testing.T) {
	papers := []Paper{A4, Letter}
	if testing.Short() {
		papers = papers[1:]
	}
	for name, c := range cases(t) {
		for _, paper := range papers {
			path := pdfFile(t, Compose(c, Options{Paper: paper}))
			width, height := paper.Millimetres()
			info := string(output(t, "pdfinfo", path))
			assert.Contains(t, info, fmt.Sprintf("Page size:       %.5g x %.5g pts", width*perMillimetre, height*perMillimetre))
			words := 0
			eachPage(t, path, func(number int, p *printedPage) {
				requireApart(t, p, fmt.Sprintf("%s, %v, page %d", name, paper, number))
				for _, w := range p.Words {
					words++
					at := fmt.Sprintf("%s, %v, page %d: %q", name, paper, number, w.Text)
					assert.GreaterOrEqual(t, w.XMin, pdfSide-5.0, at)
					assert.LessOrEqual(t, w.XMax, p.Width-pdfSide+5, at)
					assert.GreaterOrEqual(t, w.YMin, 20.0, at)
					assert.LessOrEqual(t, w.YMax, p.Height-20, at)
				}
			})
			assert.Positive(t, words)
			requireWhiteMargins(t, path)
		}
	}
}

// requireApart holds a page to no word covering another by more than what letters reach into the next line.
func requireApart(t testing.TB, p *printedPage, where string) {
	t.Helper()
	for i, a := range p.Words {
		for _, b := range p.Words[:i] {
			across := min(a.XMax, b.XMax) - max(a.XMin, b.XMin)
			down := min(a.YMax, b.YMax) - max(a.YMin, b.YMin)
			shorter := min(a.YMax-a.YMin, b.YMax-b.YMin)
			require.False(t, across > 1.5 && down > 0.5*shorter, "%s: %q covers %q", where, a.Text, b.Text)
		}
	}
}

// printedPage is one page as pdftotext places its words, in points.
type printedPage struct {
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	Words  []struct {
		XMin float64 `xml:"xMin,attr"`
		XMax float64 `xml:"xMax,attr"`
		YMin float64 `xml:"yMin,attr"`
		YMax float64 `xml:"yMax,attr"`
		Text string  `xml:",chardata"`
	} `xml:"word"`
}

func eachPage(t testing.TB, path string, do func(number int, p *printedPage)) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(output(t, "pdftotext", "-bbox", path, "-")))
	d.Entity = xml.HTMLEntity
	d.Strict = false
	for number := 1; ; {
		token, err := d.Token()
		if err == io.EOF {
			require.Greater(t, number, 1)
			return
		}
		require.NoError(t, err)
		if start, ok := token.(xml.StartElement); ok && start.Name.Local == "page" {
			var p printedPage
			require.NoError(t, d.DecodeElement(&p, &start))
			do(number, &p)
			number++
		}
	}
}

// requireWhiteMargins renders the pages in grey, 36 points an inch, and looks at the outer centimetre.
func requireWhiteMargins(t testing.TB, path string) {
	t.Helper()
	rest := output(t, "pdftoppm", "-r", "36", "-gray", path)
	const centimetre = 14
	for len(rest) > 0 {
		var width, height, most int
		_, err := fmt.Sscanf(string(rest[:20]), "P5\n%d %d\n%d\n", &width, &height, &most)
		require.NoError(t, err)
		head := len(fmt.Sprintf("P5\n%d %d\n%d\n", width, height, most))
		dots := rest[head : head+width*height]
		rest = rest[head+width*height:]
		ink := 0
		for i, dot := range dots {
			x, y := i%width, i/width
			if dot < 200 {
				ink++
				require.False(t, x < centimetre || x >= width-centimetre || y < centimetre || y >= height-centimetre, "ink at %d, %d", x, y)
			}
		}
		require.Positive(t, ink, "an empty page")
	}
}

// The same document gives the same bytes, and tells of itself what it is.
func TestPDFTellsOfItself(t *testing.T) {
	c := repaired(t)
	write := func() []byte {
		var b bytes.Buffer
		require.NoError(t, Compose(c, Options{}).WritePDF(&b))
		return b.Bytes()
	}
	first := write()
	require.True(t, bytes.Equal(first, write()))
	info := string(output(t, "pdfinfo", "-isodates", pdfFile(t, Compose(c, Options{}))))
	assert.Contains(t, info, "Title:           Drive-cycle report")
	assert.Contains(t, info, c.Made.UTC().Format("2006-01-02T15:04:05"))
	assert.Contains(t, string(first), "/Lang (en)")
	assert.Contains(t, string(first), "/Outlines")
}

// failing fails after some bytes.
type failing struct{ left int }

func (f *failing) Write(b []byte) (int, error) {
	if f.left -= len(b); f.left < 0 {
		return 0, io.ErrShortWrite
	}
	return len(b), nil
}

func TestPDFTellsWhatFailed(t *testing.T) {
	d := newDocument(Metric)
	d.head("A title")
	assert.ErrorIs(t, d.WritePDF(&failing{}), io.ErrShortWrite)
	d = newDocument(Metric)
	d.add(masthead{logo: &Logo{Media: "image/png", Data: []byte("no picture"), Width: 10, Height: 10}})
	assert.Error(t, d.WritePDF(io.Discard))
	assert.NoError(t, newDocument(Metric).WritePDF(io.Discard), "nothing to print is one empty page")
}
