package wire

import (
	"encoding/json"
	"stumble/views/viewstest"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBalanceObject(t *testing.T) {
	o := NewBalance(viewstest.Balance())
	assert.Len(t, o.Notes, 3)
	o.Notes = o.Notes[:1]
	data, err := json.Marshal(o)
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"balance","sentence":"Cylinder 4 gives little work: its cut is not felt for sure, at most - rpm, where the middle fall is 51 rpm.","weak":[4],"doubtful":[],"idle_rpm":741.4,"median_drop":51,"chance":4.2,
		"cylinders":[{"cylinder":1,"verdict":"works","cuts":1,"drop":51,"low":41,"high":61,"share":100,"share_low":80,"share_high":120},
		{"cylinder":3,"verdict":"not_cut","cuts":0,"drop":null,"low":null,"high":null,"share":null,"share_low":null,"share_high":null},
		{"cylinder":4,"verdict":"cannot_say","cuts":2,"drop":-1.2,"low":null,"high":null,"share":null,"share_low":null,"share_high":null}],"notes":["A fall is half the swing from the first seconds without the cylinder to the first with it again, before idle control has answered: compare falls with each other, never with a fixed number."]}`, string(data))
}
