package say

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"stumble/obd"
)

func TestUnread(t *testing.T) {
	w := English()
	engine := &obd.Module{ID: 0x7E8, Bits: 11}
	for want, u := range map[string]obd.Unread{
		"stored codes of module 7E8: cut":                 {What: obd.UnreadStored, Module: engine, Why: "cut"},
		"catalyst of bank 1: no answer":                   {What: obd.UnreadTest, ID: 0x21, Why: "no answer"},
		"short-term trim bank 1: refused":                 {What: obd.UnreadPID, ID: 0x06, Why: "refused"},
		"on-board test 0C: refused":                       {What: obd.UnreadLegacyTest, ID: 0x0C, Why: "refused"},
		"pending codes: stored as a line, long ago":       {What: obd.UnreadPending, Line: "pending codes: stored as a line, long ago"},
		"calibration verification numbers: not read":      {What: obd.UnreadCVNs, Why: "not read"},
		"vehicle identification number: no answer at all": {What: obd.UnreadVIN, Why: "no answer at all"},
	} {
		assert.Equal(t, want, w.Unread(&u))
	}
}
