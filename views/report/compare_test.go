package report

import (
	"strings"
	"stumble/views/wrap"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// comparisonOf is the comparison that a case rests on.
func comparisonOf(c *Case) *Comparison {
	out := &Comparison{Chosen: c.Proof.Chosen, Result: c.Proof.Result, Swap: c.Proof.Swap, Codes: CodesRead{c.Before.At, c.After.At}, Readiness: c.Readiness, Causes: c.Causes}
	if c.Progress != nil {
		out.Rules = c.Progress.Rules()
	}
	for i := range c.Drives {
		d := Compared{Drive: c.Drives[i].Number, Summary: c.Drives[i].Summary}
		if c.Drives[i].Side == SideBefore {
			out.Before = append(out.Before, d)
		} else {
			out.After = append(out.After, d)
		}
	}
	return out
}

func comparisonPage(t testing.TB, c *Comparison, width int) string {
	t.Helper()
	return text(t, func(b *strings.Builder) error { return WriteComparison(b, c, width) })
}

// requireNarrow holds a page to its width and to what a terminal may be given.
func requireNarrow(t testing.TB, page string, columns int) {
	t.Helper()
	for line := range strings.Lines(page) {
		line = strings.TrimSuffix(line, "\n")
		require.LessOrEqual(t, width(line), columns, "%q", line)
		require.Equal(t, strings.TrimRight(line, " "), line)
		require.NotContains(t, line, "\x1b", "nothing that a terminal would obey")
	}
}

func TestComparisonKeepsToItsWidth(t *testing.T) {
	for name, c := range map[string]*Case{"repaired": repaired(t), "worked": worked(t), "swapped": swapped(t)} {
		comparison := comparisonOf(c)
		comparison.Chosen = "the note \x1b[2J\"repair\""
		for columns := least; columns <= 140; columns += 3 {
			page := comparisonPage(t, comparison, columns)
			requireNarrow(t, page, columns)
			requireWhole(t, name, page)
		}
	}
}

// The command and the report tell the same facts in the same words, so that nobody need wonder which is right.
func TestComparisonSaysWhatTheReportSays(t *testing.T) {
	c := worked(t)
	page, printed := comparisonPage(t, comparisonOf(c), 132), reportText(t, Compose(c, Options{}), 132)
	from, to := en("caption-comparison"), en("head-newcomers")
	table := func(of string) string {
		_, rest, found := strings.Cut(of, strings.ReplaceAll(from, wrap.FirmSpace, " "))
		require.True(t, found)
		rest, _, found = strings.Cut(rest, "Alike means")
		require.True(t, found)
		rest, _, _ = strings.Cut(rest, to)
		return rest
	}
	assert.Equal(t, table(printed), table(page))
	for _, rule := range comparisonOf(c).Rules {
		assert.Contains(t, page, english(Metric).Rule(rule).Source[:12])
	}
	assert.Contains(t, page, en("head-inspection"))
}

// The verdict comes first, then what it is good for.
func TestComparisonBeginsWithTheVerdict(t *testing.T) {
	c := comparisonOf(repaired(t))
	page := comparisonPage(t, c, 400)
	title := en("head-comparison", en("deed-repair"))
	word := english(Metric).Outcome(c.Result.Outcome)
	assert.True(t, strings.HasPrefix(page, title+"\n"+strings.Repeat("=", len(title))+"\n\n"+word+"\n"), page)
	assert.Contains(t, page, english(Metric).meaning(c.Result.Outcome))
}

// Codes that were not read are no codes that are gone.
func TestComparisonOfCodesNotRead(t *testing.T) {
	c := comparisonOf(repaired(t))
	require.Nil(t, c.Result.Codes)
	assert.Contains(t, comparisonPage(t, c, 400), en("say-codes-unread-after", en("deed-repair")))
	c.Codes = CodesRead{}
	assert.Contains(t, comparisonPage(t, c, 400), en("say-codes-unread-before", en("deed-repair")))
}

// Of drives between which nobody told of anything no repair is spoken of and nothing is judged: it asks.
func TestUntoldComparisonSpeaksOfNoRepair(t *testing.T) {
	c := comparisonOf(repaired(t))
	c.Between, c.Job = BetweenNothing, 3
	page := comparisonPage(t, c, 400)
	assert.Contains(t, page, en("outcome-untold"))
	assert.Contains(t, page, "Was something done between them?")
	assert.Contains(t, page, "'stumble repaired 3 TEXT")
	for _, word := range []string{"Proven", "proven", "the repair", "still wanted", "Not yet"} {
		assert.NotContains(t, page, word)
	}
	whole := worked(t)
	whole.Proof.Between = BetweenNothing
	for i := range whole.Drives {
		whole.Drives[i].Side = SideNone
	}
	printed, _, _ := strings.Cut(reportText(t, Compose(whole, Options{}), 132), en("head-work"))
	assert.Contains(t, strings.Join(strings.Fields(printed), " "), "Was something done between them?")
	assert.NotContains(t, printed, "repair")
	assert.NotContains(t, printed, "roven")
}

// What is said where a clear or the user's own choice parts the drives speaks of no repair either.
func TestOtherDeedsAreNamed(t *testing.T) {
	for between, word := range map[Between]string{BetweenClear: "the clear", BetweenNamed: "what was done"} {
		c := comparisonOf(repaired(t))
		c.Between, c.Job = between, 3
		page := comparisonPage(t, c, 400)
		title := "Before and after " + word
		assert.True(t, strings.HasPrefix(page, title+"\n"), page[:80])
		verdict, _, _ := strings.Cut(page, en("head-compared"))
		assert.NotContains(t, verdict, "the repair")
		assert.Equal(t, between == BetweenNamed, strings.Contains(page, "You named these drives"))
	}
}
