package journal

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// A gap is stored as a word; what earlier programs wrote stays as they wrote it.
func TestGapsAreStored(t *testing.T) {
	for _, g := range []*Gap{{Kind: GapUnsaved, Table: "samples"}, {Kind: GapUnfit, Table: "exchanges", Why: "too long: 2 MiB"}} {
		assert.Equal(t, g, storedGap(g.text()))
	}
	old := storedGap("samples were not saved in time")
	assert.EqualError(t, old, "samples were not saved in time")
	assert.EqualError(t, storedGap("unsaved samples"), old.Error())
	assert.EqualError(t, &Gap{Table: "samples", Count: 3, Block: 1, Why: "damaged"}, "3 samples cannot be read: block 1 is damaged")
}
