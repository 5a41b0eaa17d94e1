package fonts

import (
	"math"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/text/unicode/norm"
)

func library(t testing.TB) *Library {
	t.Helper()
	l, err := Open()
	require.NoError(t, err)
	return l
}

// scripts are the word for engine, or close to it, in many scripts.
func scripts() map[string]string {
	return map[string]string{
		"Latin": "Motor, çeşit, Động cơ", "Greek": "κινητήρας", "Cyrillic": "двигатель", "Armenian": "Շարժիչ", "Georgian": "ძრავა",
		"Hebrew": "מנוע", "pointed Hebrew": "מָנוֹעַ", "Arabic": "محرك السيارة", "Persian": "موتور می\u200cلرزد", "Urdu": "گاڑی",
		"Chinese": "发动机 引擎", "Japanese": "エンジン の 失火", "Korean": "엔진", "Devanagari": "इंजन क्षत्रिय", "Bengali": "ইঞ্জিন",
		"Gurmukhi": "ਇੰਜਣ", "Gujarati": "એન્જિન", "Oriya": "ଇଞ୍ଜିନ", "Tamil": "இயந்திரம்", "Telugu": "ఇంజిన్", "Kannada": "ಎಂಜಿನ್",
		"Malayalam": "എഞ്ചിൻ", "Sinhala": "එන්ජිම", "Thai": "เครื่องยนต์", "Lao": "ເຄື່ອງຈັກ", "Khmer": "ម៉ាស៊ីន", "Myanmar": "အင်ဂျင်", "Ethiopic": "ሞተር",
	}
}

// Every script has its face, in upright and in bold, and what is set says what was given.
func TestScripts(t *testing.T) {
	l := library(t)
	for name, text := range scripts() {
		for _, bold := range []bool{false, true} {
			runs := l.Line(text, bold)
			for _, run := range runs {
				require.NotNil(t, run.Face, "%s: no face for %q", name, run.Text)
				assert.Positive(t, run.Width, name)
				assert.NotEqual(t, run.Plain == "", len(run.Clusters) == 0, "%s: either letters or shapes", name)
				for _, c := range run.Clusters {
					for _, g := range c.Glyphs {
						assert.NotZero(t, g.id, "%s: %q is drawn as missing", name, c.Text)
					}
				}
			}
			assert.Equal(t, letters(norm.NFC.String(text)), letters(said(runs)), name)
		}
	}
	assert.NoError(t, l.Err())
}

// said is all that runs say.
func said(runs []Run) string {
	var b strings.Builder
	for _, run := range runs {
		b.WriteString(run.Text)
	}
	return b.String()
}

// letters counts the letters of a text that are seen.
func letters(text string) map[rune]int {
	count := make(map[rune]int)
	for _, r := range text {
		if !invisible(r) {
			count[r]++
		}
	}
	return count
}

// The clusters of a run say, read from its beginning, what the run says.
func TestClustersSayTheRun(t *testing.T) {
	l := library(t)
	for name, text := range scripts() {
		for _, run := range l.Line(text, false) {
			if run.Plain != "" {
				continue
			}
			forward, backward := "", ""
			for _, c := range run.Clusters {
				forward, backward = forward+c.Text, c.Text+backward
			}
			assert.Contains(t, []string{forward, backward}, run.Text, name)
		}
	}
}

// Letters take the shapes that their script asks for (The Unicode Standard, chapters 9 and 12).
func TestShapes(t *testing.T) {
	l := library(t)
	one := func(text string) Run {
		runs := l.Line(text, false)
		require.Len(t, runs, 1, text)
		return runs[0]
	}
	ids := func(r Run) (all []any) {
		for _, c := range r.Clusters {
			for _, g := range c.Glyphs {
				all = append(all, g.id)
			}
		}
		return all
	}
	assert.Len(t, one("لا").Clusters, 1, "lam and alef are one shape")
	assert.Len(t, one("محرك").Clusters, 4)
	assert.NotContains(t, ids(one("ححح")), ids(one("ح"))[0], "a letter within a word is not that which stands alone")
	ki := one("कि")
	require.Len(t, ki.Clusters, 1)
	require.Len(t, ki.Clusters[0].Glyphs, 2)
	assert.Equal(t, ids(one("क"))[0], ids(ki)[1], "the vowel sign i stands before its consonant")
	assert.Len(t, ids(one("क्ष")), 1, "ka and ssa are one shape")
	accented := l.Line("x\u0302", false)
	require.Len(t, accented, 1)
	assert.InDelta(t, l.Width("x", false), accented[0].Width, 0.01, "an accent takes no room")
	assert.Equal(t, "é", one("e\u0301").Plain, "what is one letter is set as one")
}

// The order of letters on paper; capitals stand for Hebrew letters, as in the examples of UAX 9.
func TestOrder(t *testing.T) {
	l := library(t)
	const fsi, pdi = "\u2068", "\u2069"
	for text, want := range map[string]string{
		"car means CAR.": "car means RAC.",
		"he said “" + fsi + "car MEANS CAR" + pdi + ".” “" + fsi + "IT DOES" + pdi + ",” she agreed.": "he said “car RAC SNAEM.” “SEOD TI,” she agreed.",
		"ABC 12 xyz":     "xyz 12 CBA",
		"abc DEF 12 xyz": "abc 12 FED xyz",
		"abc DEF 12":     "abc 12 FED",
		"ABC (DEF) x":    "x (FED) CBA",
		fsi + "CAR" + pdi + " x " + fsi + "AB" + pdi:   "RAC x BA",
		"X" + fsi + "a b" + pdi + "Y":                  "Ya bX",
		fsi + "never closed":                           "never closed",
		"closed twice" + pdi + pdi + " CAR":            "closed twice RAC",
		"a" + fsi + "b" + fsi + "CD" + pdi + pdi + "e": "abDCe",
		"": "",
	} {
		var b strings.Builder
		for _, run := range l.Line(hebrew(text), false) {
			b.WriteString(run.Plain)
		}
		assert.Equal(t, want, capitals(b.String()), text)
	}
}

func hebrew(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'A' && r <= 'Z' {
			return 'א' + r - 'A'
		}
		return r
	}, text)
}

func capitals(text string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'א' && r < 'א'+26 {
			return 'A' + r - 'א'
		}
		return r
	}, text)
}

// A letter that no face has is a run by itself, so that it can be told.
func TestMissingLetters(t *testing.T) {
	runs := library(t).Line("a\U00013000\u0f40b", false)
	require.Len(t, runs, 4)
	for i, want := range []string{"a", "\U00013000", "\u0f40", "b"} {
		assert.Equal(t, want, runs[i].Text)
		assert.Equal(t, i == 1 || i == 2, runs[i].Face == nil)
	}
}

func TestWrap(t *testing.T) {
	l := library(t)
	texts := []string{
		"Cylinder 2 misses 31 of 1,000 firings in Drive, 2 in Park; worse since 02:10.", strings.Repeat("x", 300), "one\ntwo three\n\nfour",
		"375\u00a0rpm and 20\u00a0% load " + strings.Repeat("a b ", 40), "", " ",
	}
	for _, text := range scripts() {
		texts = append(texts, strings.Repeat(text+" ", 9))
	}
	for _, text := range texts {
		for _, limit := range []float64{1.5, 5, 20, 80} {
			lines := l.Wrap(text, false, limit)
			require.NotEmpty(t, lines)
			for _, line := range lines {
				if w := l.Width(line, false); w > limit {
					assert.Less(t, len([]rune(line)), 5, "%q is %v wide of %v", line, w, limit)
				}
			}
			assert.Equal(t, bare(text), bare(strings.Join(lines, "")))
		}
	}
	assert.Equal(t, []string{"aaa", "375\u00a0rpm"}, l.Wrap("aaa 375\u00a0rpm", false, l.Width("375\u00a0rpm", false)+0.5))
	line, word := l.Longest("a bb\nccc", false)
	assert.InDelta(t, l.Width("a bb", false), line, 1e-9)
	assert.InDelta(t, l.Width("ccc", false), word, 1e-9)
}

// bare is a text without its spaces.
func bare(text string) string { return strings.Join(strings.FieldsFunc(text, unicode.IsSpace), "") }

// Widths are those of the face's makers (the tables of Liberation Sans 2: 2048 units an em), to the thousandth.
func TestWidths(t *testing.T) {
	l := library(t)
	assert.InDelta(t, math.Round(1000*1139/2048.)/1000, l.Width("0", false), 1e-9)
	assert.InDelta(t, math.Round(1000*569/2048.)/1000, l.Width(" ", false), 1e-9)
	assert.InDelta(t, math.Round(1000*1479/2048.)/1000, l.Width("A", true), 1e-9)
	for d := '0'; d <= '9'; d++ {
		assert.Equal(t, l.Width("0", false), l.Width(string(d), false), "figures stand below each other")
	}
}

// FuzzLine: whatever a car or a user calls something, it is set, and all of it.
func FuzzLine(f *testing.F) {
	for _, text := range scripts() {
		f.Add(text)
	}
	f.Add("\u2068\u2069\u2067\u202e\u200dא1a\u0301")
	l, err := Open()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text string) {
		text = strings.ToValidUTF8(text, "\ufffd")
		width := 0.0
		runs := l.Line(text, false)
		for _, run := range runs {
			if math.IsNaN(run.Width) || run.Width < 0 {
				t.Fatalf("%q is %v wide", run.Text, run.Width)
			}
			width += run.Width
		}
		for _, line := range l.Wrap(text, true, 7) {
			l.Line(line, true)
		}
	})
}
