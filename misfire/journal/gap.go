package journal

import (
	"fmt"
	"strings"
)

// GapKind is why something of a drive is missing.
type GapKind uint8

// Kinds of gaps.
const (
	GapUnread  GapKind = iota // Count records cannot be read: Block is damaged, Why says how
	GapUnsaved                // there was no room to keep them until they could be saved
	GapUnfit                  // a record could not be stored: Why
	GapTold                   // by an earlier program, in words: Why
)

// Gap says what of a drive is missing. It is an error, for some ask for nothing but whether all is there.
type Gap struct {
	Kind         GapKind
	Table        string // "samples" or "exchanges"
	Count, Block int
	Why          string
}

func (g *Gap) Error() string {
	switch g.Kind {
	case GapUnread:
		return fmt.Sprintf("%d %s cannot be read: block %d is %s", g.Count, g.Table, g.Block, g.Why)
	case GapUnsaved:
		return g.Table + " were not saved in time"
	case GapUnfit:
		return fmt.Sprintf("one of the %s is %s", g.Table, g.Why)
	}
	return g.Why
}

// How gaps are stored with the marks: a word, the table and, of what is unfit, why.
const (
	unsavedKey = "unsaved "
	unfitKey   = "unfit "
)

// text is the gap as it is stored.
func (g *Gap) text() string {
	if g.Kind == GapUnfit {
		return unfitKey + g.Table + " " + g.Why
	}
	return unsavedKey + g.Table
}

// storedGap reads what text or an earlier program wrote.
func storedGap(text string) *Gap {
	if table, ok := strings.CutPrefix(text, unsavedKey); ok {
		return &Gap{Kind: GapUnsaved, Table: table}
	}
	if rest, ok := strings.CutPrefix(text, unfitKey); ok {
		table, why, _ := strings.Cut(rest, " ")
		return &Gap{Kind: GapUnfit, Table: table, Why: why}
	}
	return &Gap{Kind: GapTold, Why: text}
}
