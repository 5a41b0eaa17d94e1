package views_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/views"
	"stumble/views/viewstest"
	"stumble/views/wrap"
)

func TestWriteBench(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, views.WriteBench(&out, viewstest.Bench(), 80))
	text := out.String()
	assert.True(t, strings.HasPrefix(text, "Bad: plug wire of cylinder 2. Suspect: battery at rest. Not to be judged yet:\n"), text)
	assert.Contains(t, text, "    1  cylinder 1   99 kohm at 60 cm: measured again later\n    2  cylinder 1   12 kohm at 60 cm: good\n")
	assert.Contains(t, text, "    -  cylinder 2   open at 60 cm: BAD\n")
	assert.Contains(t, text, "    4  engine       12.39 V: SUSPECT\n")
	assert.Contains(t, text, "Gearbox, slip\n    6  engine       3 ± 0.5 %: cannot say\n                    No rule speaks of such a reading.\n")
	assert.NotContains(t, text, "\x1b")
	assert.Less(t, strings.Index(text, "Plug wire\n"), strings.Index(text, "Battery at rest\n"), "in the order of the kinds")
	assert.Equal(t, 1, strings.Count(text, "[1] plug wire, per foot, strict"), text)
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, wrap.Width(strings.TrimSuffix(line, "\n")), views.PageWidth, line)
	}

	out.Reset()
	require.NoError(t, views.WriteBench(&out, &views.Bench{}, 80))
	assert.Equal(t, "Nothing was measured by hand yet.\n", out.String())
}
