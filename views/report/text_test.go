package report

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/cause"
	"stumble/obd"
	"stumble/views/wrap"
)

// Cells as terminals show them: wide and fullwidth characters take two (Unicode UAX 11), combining marks
// none (general category Mn), a sequence of emoji joined to one takes two (UTS 51).
var scripts = []struct {
	name  string
	cells int
}{
	{"EngineControl", 13}, {"Двигатель", 9}, {"κινητήρας", 9}, {"変速機", 6}, {"ﾃｽﾄ", 3}, {"ＥＣＭ", 6}, {"엔진", 4},
	{"e\u0301tat", 4}, {"محرك", 4}, {"מנוע", 4}, {"👩‍🔧", 2}, {"🇳🇱", 2}, {"", 0},
}

func TestNamesKeepColumnsAligned(t *testing.T) {
	rows := &table{columns: []column{{title: "name"}, {title: "mark"}}}
	for _, s := range scripts {
		rows.add(s.name, "#")
	}
	d := &Document{}
	d.show(rows)
	out := text(t, func(b *strings.Builder) error { return d.WriteText(b, 80) })
	lines := strings.Split(out, "\n")[2:]
	for i, s := range scripts {
		name, _, found := strings.Cut(lines[i], "#")
		require.True(t, found, s.name)
		spaces := len(name) - len(strings.TrimRight(name, " "))
		assert.Equal(t, 13+gap, s.cells+spaces, s.name)
	}
}

func TestWrap(t *testing.T) {
	for _, c := range []struct {
		name, in string
		limit    int
		want     []string
	}{
		{"nothing", "", 10, []string{""}},
		{"fits", "two words", 9, []string{"two words"}},
		{"breaks at the space", "two words", 8, []string{"two", "words"}},
		{"paragraphs", "a\nb c", 2, []string{"a", "b", "c"}},
		{"a figure keeps its unit", "at 760" + wrap.FirmSpace + "rpm", 9, []string{"at", "760" + wrap.FirmSpace + "rpm"}},
		{"a long word is cut", "abcdefgh", 3, []string{"abc", "def", "gh"}},
		{"after a short one", "x abcdefgh y", 3, []string{"x", "abc", "def", "gh", "y"}},
		{"ideographs break anywhere (UAX 14, class ID)", "変速機制御", 4, []string{"変速", "機制", "御"}},
		{"characters stay whole", "e\u0301e\u0301e\u0301", 2, []string{"e\u0301e\u0301", "e\u0301"}},
	} {
		assert.Equal(t, c.want, wrapped(c.in, c.limit), c.name)
	}
}

func TestForeignText(t *testing.T) {
	for in, want := range map[string]string{
		"plain":                   "plain",
		" a\tb\r\n":               "a b",
		"\x1b[2Jgone":             "[2Jgone",
		"abc\u202edcba\u202c":     "abcdcba",
		"\u2066x\u2069 y\u2028z":  "x y z",
		"bad\xffbyte":             "bad\ufffdbyte",
		"nul\x00bell\x07c1\u009b": "nulbellc1",
	} {
		assert.Equal(t, want, foreign(in), "%q", in)
	}
}

func TestTooNarrow(t *testing.T) {
	for _, w := range []int{-1, 0, least - 1} {
		var b strings.Builder
		err := WriteCodes(&b, &obd.CodeReport{}, w)
		require.Error(t, err)
		assert.Contains(t, err.Error(), "40 or more")
		assert.NotContains(t, err.Error(), "\n")
		require.Error(t, WriteIntake(&b, &obd.Intake{}, w))
		require.Error(t, WriteComparison(&b, comparisonOf(swapped(t)), w))
		require.Error(t, WriteCauses(&b, &Causes{Result: &cause.Result{}}, w))
		assert.Empty(t, b.String())
	}
}

type full struct{}

var errFull = errors.New("disk full")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestWriterFails(t *testing.T) {
	assert.ErrorIs(t, WriteCodes(full{}, &obd.CodeReport{}, 80), errFull)
	assert.ErrorIs(t, WriteIntake(full{}, &obd.Intake{}, 80), errFull)
	assert.ErrorIs(t, WriteComparison(full{}, comparisonOf(swapped(t)), 80), errFull)
	assert.ErrorIs(t, WriteCauses(full{}, &Causes{Result: &cause.Result{}}, 80), errFull)
}

// The widest column gives way first, and one that is firm last.
func TestTableGivesWay(t *testing.T) {
	d := &Document{}
	rows := &table{columns: []column{{firm: true}, {}, {right: true}}}
	rows.add("P0302 stays", strings.Repeat("word ", 12)+"end", "7")
	d.show(rows)
	out := text(t, func(b *strings.Builder) error { return d.WriteText(b, 40) })
	assert.Equal(t, "P0302 stays  word word word word word  7\n"+
		"             word word word word word\n"+
		"             word word end\n", out)
}
