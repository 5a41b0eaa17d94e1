package views_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/views"
	"stumble/views/say"
	"stumble/views/viewstest"
)

// A short word of the causes ends other pages; there is none where there is nothing to explain, and a writer that fails
// is told of.
func TestWriteCausesBrief(t *testing.T) {
	var text strings.Builder
	c := viewstest.Causes(t, 0x0305, 0x0355)
	require.NoError(t, views.WriteCausesBrief(&text, c.Result))
	assert.True(t, strings.HasPrefix(text.String(), "\n"), "it stands off from what is above")
	assert.Equal(t, say.English().Causes(c.Result), strings.Join(strings.Fields(text.String()), " "))
	text.Reset()
	require.NoError(t, views.WriteCausesBrief(&text, viewstest.Causes(t).Result))
	require.NoError(t, views.WriteCausesBrief(&text, nil))
	assert.Empty(t, text.String())
	assert.Error(t, views.WriteCausesBrief(full{}, c.Result))
}

// full is a disk with no room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("no room") }
