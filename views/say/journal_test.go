package say

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/journal"
)

func TestJournalNotices(t *testing.T) {
	w := English()
	for want, n := range map[string]journal.Notice{
		"drive 1 of job 2 (Larkspur Wren) was cut off: its 3s until then are saved, 130 samples and 131 exchanges": {
			Kind: journal.NoticeInterrupted, Drive: 1, Job: 2, Vehicle: "Larkspur Wren", Length: 3 * time.Second, Samples: 130, Exchanges: 131},
		"drive 1 of job 2 was cut off before anything of it was saved": {Kind: journal.NoticeInterrupted, Drive: 1, Job: 2},
		"journal a was damaged: it is kept as b; nothing could be read from it, and a new one was begun": {
			Kind: journal.NoticeSetAside, Path: "a", Aside: "b"},
		"journal a was damaged: it is kept as b; 2 jobs and 3 drives could be read and are in a new one": {
			Kind: journal.NoticeSetAside, Path: "a", Aside: "b", Jobs: 2, Drives: 3, Rows: 9},
		"journal a was damaged: it is kept as b; 2 jobs and 3 drives could be read and are in a new one; 4 rows could not": {
			Kind: journal.NoticeSetAside, Path: "a", Aside: "b", Jobs: 2, Drives: 3, Rows: 9, Bad: 4},
		"the disk is full": {Kind: journal.NoticeTrouble, Err: errors.New("the disk is full")},
	} {
		assert.Equal(t, want, w.JournalNotice(&n))
	}
	assert.Equal(t, "job 2 is new here, with 7 entries", w.Imported(journal.Imported{Job: 2, NewJob: true, Added: 7}))
	assert.Equal(t, "nothing new: all of it is already here, as job 2", w.Imported(journal.Imported{Job: 2, Known: 7}))
	assert.Equal(t, "job 2 was here already: 1 entries are new, 7 were known", w.Imported(journal.Imported{Job: 2, Added: 1, Known: 7}))
}
