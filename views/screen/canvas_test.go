package screen

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestFit(t *testing.T) {
	fields := []field{
		{words: []string{"gear"}},
		{words: []string{"coolant 88", "88", ""}, rank: 2},
		{words: []string{"elapsed 04:31", "04:31"}, rank: 1},
	}
	for w, want := range map[int][]string{
		40: {"gear", "coolant 88", "elapsed 04:31"},
		23: {"gear", "88", "elapsed 04:31"},
		19: {"gear", "", "elapsed 04:31"},
		18: {"gear", "", "04:31"},
		11: {"gear", "", "04:31"},
		10: {"gear", "", ""},
		5:  {"gear", "", ""},
	} {
		assert.Equal(t, want, fit(fields, w, 2), w)
	}
	assert.Empty(t, fit(nil, 5, 2))
	twins := []field{{words: []string{"aaaa", "aa", "a"}, rank: 1}, {words: []string{"bbbb", "bb", "b"}, rank: 1}}
	assert.Equal(t, []string{"aa", "bb"}, fit(twins, 5, 1), "equals give way in turn")
}
