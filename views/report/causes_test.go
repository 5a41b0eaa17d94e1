package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/cause"
	layouts "stumble/misfire/engine"
	"stumble/obd"
	"stumble/views/say"
	"stumble/views/wrap"
)

// explained is causes of a V6 with those codes.
func explained(t testing.TB, codes ...obd.Code) *Causes {
	t.Helper()
	layout, err := layouts.Find("v6-along-142536")
	require.NoError(t, err)
	e := cause.Evidence{Engine: layout, Ignition: cause.CoilOnPlug, Codes: cause.Codes{Read: true, Set: codes}}
	return &Causes{Job: 3, Drives: "drive 5,\x1b[2J running", Ignition: e.Ignition, Result: cause.StandardBook().Explain(e)}
}

func causesPage(t testing.TB, c *Causes, width int) string {
	t.Helper()
	return text(t, func(b *strings.Builder) error { return WriteCauses(b, c, width) })
}

func TestWriteCauses(t *testing.T) {
	c := explained(t, 0x0305, 0x0355)
	c.Result.Done = append(c.Result.Done, cause.Finding{Test: "coil_swap", Found: cause.Telling{Kind: cause.MissesKept}})
	page, words := causesPage(t, c, 400), say.English()
	title := en("title-causes")
	assert.True(t, strings.HasPrefix(page, title+"\n"+strings.Repeat("=", len(title))+"\n\n"+words.Causes(c.Result)+"\n"), "the verdict comes first")
	next := c.Result.Next
	require.NotNil(t, next)
	parts := []string{"By the codes alone", "P0355 is stored", "cylinder 5", words.CauseTitle(&c.Result.Ranked[0]), words.Filled(next.Name), words.Filled(next.How), words.Filled(next.Decides), next.Outcomes[0].Leads,
		"- Made: the misses did not grow more within a drive.", "- From drive 5,[2J running.", en("fact-for"), en("fact-overturn"), en("note-causes")}
	for _, text := range next.Cautions {
		parts = append(parts, "! "+text)
	}
	for _, o := range c.Result.Others {
		parts = append(parts, words.Filled(o.Name)+" (")
	}
	for _, note := range words.CauseNotes(c.Result) {
		parts = append(parts, note[1:])
	}
	plain := strings.ReplaceAll(page, wrap.FirmSpace, " ")
	for _, part := range parts {
		assert.Contains(t, plain, strings.ReplaceAll(part, wrap.FirmSpace, " "))
	}
	assert.Less(t, strings.Index(page, "! "), strings.Index(page, words.Filled(next.How)), "warned before told how")
	assert.Equal(t, 1, strings.Count(page, "The misses stay with cylinder 5 after its coil was moved"))
	for columns := least; columns <= 140; columns++ {
		requireNarrow(t, causesPage(t, c, columns), columns)
	}
}

// Of a sound car there is nothing to rank and no test to make.
// Once a repair is proven, the page opens with that: what it ranks is the fault as it stood before.
func TestWriteCausesOfACuredCar(t *testing.T) {
	c := &Causes{Result: &cause.Result{}, Cured: `the repair "new coil" of 2026-04-02 09:00`, Proof: "Proven: cylinder 5 no longer misses."}
	var b strings.Builder
	require.NoError(t, WriteCauses(&b, c, 80))
	assert.Regexp(t, `(?s)Proven: cylinder 5 no longer misses\..*As the fault stood before the repair "new coil" of 2026-04-02 09:00:`, b.String())
}

func TestWriteCausesOfNothing(t *testing.T) {
	page := causesPage(t, explained(t), 80)
	assert.Contains(t, page, "\n\nNothing to explain:")
	for _, part := range []string{en("head-causes"), en("note-causes"), en("fact-how")} {
		assert.NotContains(t, page, part)
	}
}
