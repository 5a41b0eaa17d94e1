package gear

import "slices"

// timeline is what was said as it happened. Where nothing but inference spoke, it leaves room for what the bank says
// of that time.
type timeline struct {
	entries []entry
	changes int
}

type entry struct {
	from     moment
	call     Call
	inferred bool // at rest, by the bank
}

// maxEntries are far more than anything waits for; beyond them the oldest are forgotten.
const maxEntries = 512

// set makes a call hold from a time on; what was said of later times is withdrawn.
func (t *timeline) set(from moment, call Call, inferred bool) {
	n := len(t.entries)
	if n > 0 {
		last := &t.entries[n-1]
		if last.inferred && inferred || last.call == call && !inferred && !last.inferred {
			return
		}
	}
	for n > 0 && t.entries[n-1].from >= from {
		n--
	}
	t.entries = append(t.entries[:n], entry{from, call, inferred})
	if len(t.entries) > maxEntries {
		t.entries = slices.Delete(t.entries, 0, maxEntries/4)
	}
	t.changes++
}

// said is from when the last call holds, where somebody made it; -1 where nobody did.
func (t *timeline) said() moment {
	if n := len(t.entries); n > 0 && t.entries[n-1].call.Origin >= Marked {
		return t.entries[n-1].from
	}
	return -1
}
