package journal

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

// What an earlier program stored of codes that it could not read is a line, known by how it begins.
func TestUnreadOfEarlierPrograms(t *testing.T) {
	var s storedCodes
	require.NoError(t, json.Unmarshal([]byte(`{"unread":["pending codes: no answer","supply voltage: no answer",{"what":"test","id":33,"why":"cut"}]}`), &s))
	assert.Equal(t, []obd.Unread{
		{What: obd.UnreadPending, Line: "pending codes: no answer"}, {Line: "supply voltage: no answer"},
		{What: obd.UnreadTest, ID: 0x21, Why: "cut"},
	}, s.report().Unread)
	assert.Error(t, json.Unmarshal([]byte(`{"unread":[7]}`), &s))
}
