package fonts

import (
	"slices"
	"strings"
	"unicode"

	"github.com/go-text/typesetting/di"
	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/font/opentype"
	"github.com/go-text/typesetting/language"
	"github.com/go-text/typesetting/shaping"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"
)

const moveTo = opentype.SegmentOpMoveTo

// Run is a stretch of a line in one face. Runs come from left to right as they stand on paper.
type Run struct {
	// Face is nil for a letter that no face has.
	Face *Face
	// Text is what the run says, in the order of reading.
	Text string
	// Plain is the run letter by letter from left to right, where each letter of it is one glyph of the face; it is
	// empty where Clusters are.
	Plain    string
	Clusters []Cluster
	Width    float64 // em
}

// Cluster is letters that have their shapes together.
type Cluster struct {
	Text   string  // in the order of reading
	X      float64 // where it begins from the run's left end, in ems
	Width  float64
	Glyphs []Glyph
}

// Glyph is one shape of a face, and where its origin is from the run's, in ems.
type Glyph struct {
	X, Y float64
	id   font.GID
}

// Line sets one line. Its runs join without gaps.
func (l *Library) Line(text string, bold bool) []Run {
	if run, ok := l.latin(text, bold); ok {
		return []Run{run}
	}
	var runs []Run
	for _, s := range order(norm.NFC.String(text)) {
		set := l.stretch(s, bold)
		if s.right {
			slices.Reverse(set)
		}
		runs = append(runs, set...)
	}
	return runs
}

// Width is how wide a line is, in ems.
func (l *Library) Width(text string, bold bool) (width float64) {
	for _, run := range l.Line(text, bold) {
		width += run.Width
	}
	return width
}

// latin sets what nearly all lines are made of without looking further.
func (l *Library) latin(text string, bold bool) (Run, bool) {
	f := l.usual(bold)
	width := 0.0
	for _, r := range text {
		if r < ' ' || r >= 0x250 || r == 0xad || !f.has(r) {
			return Run{}, false
		}
		width += f.advance(r)
	}
	return Run{Face: f, Text: text, Plain: text, Width: width}, true
}

// item is a stretch's part in one script and one face.
type item struct {
	face    *Face
	script  language.Script
	letters []rune
	joined  bool // its glyphs are not just its letters in a row
}

// stretch sets what runs one way; its runs come in the order of reading.
func (l *Library) stretch(s stretch, bold bool) (runs []Run) {
	for _, it := range l.items([]rune(s.text), bold) {
		switch {
		case it.face == nil:
			for _, r := range it.letters {
				runs = append(runs, Run{Text: string(r), Width: 1})
			}
		case it.joined:
			runs = append(runs, l.shape(&it, s.right))
		default:
			runs = append(runs, it.plain(s.right))
		}
	}
	return runs
}

// items parts a text by script and face. Signs that belong to no script, and marks upon letters, go with what they
// stand beside where its face has them.
func (l *Library) items(letters []rune, bold bool) (items []item) {
	for _, r := range letters {
		script := language.LookupScript(r)
		last := len(items) - 1
		if last >= 0 && script == language.Inherited && items[last].face != nil {
			if unicode.Is(unicode.Mn, r) || items[last].joined {
				l.attach(&items[last], r, bold)
				continue
			}
		}
		if invisible(r) {
			continue
		}
		face := l.find(r, script, bold)
		joined := joins(script)
		if last >= 0 && items[last].face == face && items[last].joined == joined && (!joined || items[last].script == script) {
			items[last].letters = append(items[last].letters, r)
			continue
		}
		items = append(items, item{face, script, []rune{r}, joined})
	}
	return items
}

// attach puts a mark upon the last letter of an item. Such a letter is set by shape, in a face that has both.
func (l *Library) attach(it *item, mark rune, bold bool) {
	it.letters = append(it.letters, mark)
	it.joined = true
	for _, at := range candidates(it.script, bold) {
		if f := l.face(at); f != nil && !slices.ContainsFunc(it.letters, func(r rune) bool { return !f.has(r) && !invisible(r) }) {
			it.face = f
			return
		}
	}
}

// joins tells the scripts whose letters take shapes from their neighbours.
func joins(s language.Script) bool {
	return s == language.Arabic || slices.Contains(notoScripts, s) && s != language.Ethiopic
}

// invisible tells what has no shape of its own.
func invisible(r rune) bool { return unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Cc, r) }

// plain is a run of letters that are each a glyph. One that runs from right to left is turned, its brackets with it.
func (it *item) plain(right bool) Run {
	run := Run{Face: it.face, Text: string(it.letters), Plain: string(it.letters)}
	if right {
		run.Plain = bidi.ReverseString(run.Text)
	}
	for _, r := range run.Plain {
		run.Width += it.face.advance(r)
	}
	if strings.ContainsFunc(run.Plain, func(r rune) bool { return r > 0xffff }) {
		it.scatter(&run)
	}
	return run
}

// scatter turns a run into glyphs, for letters beyond what a document writes as text.
func (it *item) scatter(run *Run) {
	x := 0.0
	for _, r := range run.Plain {
		gid, _ := it.face.face.NominalGlyph(r)
		width := it.face.advance(r)
		run.Clusters = append(run.Clusters, Cluster{Text: string(r), X: x, Width: width, Glyphs: []Glyph{{X: x, id: gid}}})
		x += width
	}
	run.Plain = ""
}

// shape sets letters that take their shapes from each other.
func (l *Library) shape(it *item, right bool) Run {
	direction := di.DirectionLTR
	if right {
		direction = di.DirectionRTL
	}
	const em = 1000
	out := l.shaper.Shape(shaping.Input{
		Text: it.letters, RunEnd: len(it.letters), Direction: direction, Face: it.face.face, Size: fixed.I(em),
		Script: it.script, Language: language.NewLanguage("und"),
	})
	ems := func(v fixed.Int26_6) float64 { return float64(v) / 64 / em }
	run := Run{Face: it.face, Text: string(it.letters)}
	at := -1
	for _, g := range out.Glyphs {
		if g.TextIndex() != at {
			at = g.TextIndex()
			text := string(it.letters[at:min(at+g.RunesCount(), len(it.letters))])
			run.Clusters = append(run.Clusters, Cluster{Text: text, X: run.Width})
		}
		c := &run.Clusters[len(run.Clusters)-1]
		c.Glyphs = append(c.Glyphs, Glyph{X: run.Width + ems(g.XOffset), Y: ems(g.YOffset), id: g.GlyphID})
		c.Width += ems(g.Advance)
		run.Width += ems(g.Advance)
	}
	return run
}
