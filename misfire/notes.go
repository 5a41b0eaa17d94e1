package misfire

import "stumble/misfire/engine"

// NoteKind is what a reader must know to take a drive's numbers for what they are.
type NoteKind uint8

// Kinds of note.
const (
	NoteNoCounters       NoteKind = iota // the car reports no misfire counts
	NoteDipsAreNoMisses                  // a dip of the idle compares gear states of one drive, no more
	NoteUncounted                        // Count of Of cylinders have no counter
	NoteMap                              // cylinders are named by a map of this car's own
	NoteRefreshUnknown                   // the split between conditions is provisional
	NoteKeyOff                           // counts are shown at engine stop: a driving cycle is one window
	NoteSaturated                        // Cylinder's counter stands at its highest value
	NoteOvercounted                      // Cylinder counts more misses than firings
	NoteSetAside                         // Count readings of Cylinder's counter could not be, and were set aside
	NoteStill                            // Cylinder's counter moved before and now stands still beyond chance
	NoteNoneMoved                        // no counter moved in much running
	NoteAverageDisagrees                 // Cylinder's own average of the car disagrees with its counts: see Average
	NoteOtherModule                      // another module counts as well, and is left out
	NoteOwnCounts                        // the counts are the maker's own, by the user's table
	NoteOwnBlocks                        // and tell the last 200 turns alone
	NoteByCode                           // the counts hang on misfire codes, as on cars of SAE J1979-2 of which none was at hand
	NoteUnread                           // Count monitors that the car lists could not be read, and no other
)

// Note is one such thing, with the numbers it is about.
type Note struct {
	Kind      NoteKind
	Cylinder  int
	Count, Of int
	Average   AverageCheck
}

// notes is what a reader must know to take the numbers for what they are.
func (t *Tally) notes(s *Summary) []Note {
	notes := t.counterNotes(s)
	if t.cfg.Map != (engine.Map{}) && !t.cfg.Map.IsIdentity() {
		notes = append(notes, Note{Kind: NoteMap})
	}
	if t.counting.others {
		notes = append(notes, Note{Kind: NoteOtherModule})
	}
	if t.owned {
		notes = append(notes, Note{Kind: NoteOwnCounts})
	}
	if t.blocked {
		notes = append(notes, Note{Kind: NoteOwnBlocks})
	}
	if t.roads.known && t.roads.taken != roadTests {
		notes = append(notes, Note{Kind: NoteByCode})
	}
	switch {
	case s.Refresh.Kind == RefreshUnknown && s.Refresh.Rises > 0:
		notes = append(notes, Note{Kind: NoteRefreshUnknown})
	case s.Refresh.Kind == RefreshKeyOff:
		notes = append(notes, Note{Kind: NoteKeyOff})
	}
	for i, c := range s.Total {
		of := func(kind NoteKind, is bool) {
			if is {
				notes = append(notes, Note{Kind: kind, Cylinder: c.Cylinder})
			}
		}
		of(NoteSaturated, t.lanes[i].saturated)
		of(NoteOvercounted, c.Overcounted())
		if n := t.lanes[i].aside; n > 0 {
			notes = append(notes, Note{Kind: NoteSetAside, Cylinder: c.Cylinder, Count: n})
		}
		of(NoteStill, c.Still)
	}
	if standsStill(s.Total) {
		notes = append(notes, Note{Kind: NoteNoneMoved})
	}
	for i := range s.Total {
		if odd := t.averages[i].odd; odd != nil {
			notes = append(notes, Note{Kind: NoteAverageDisagrees, Cylinder: i + 1, Average: *odd})
		}
	}
	return notes
}

// counterNotes says which cylinders have no counter.
func (t *Tally) counterNotes(s *Summary) []Note {
	n, all := t.unreported(s.Engine.Cylinders), s.Engine.Cylinders
	switch {
	case t.awaited():
	case !t.counts() && t.unread > 0:
		return []Note{{Kind: NoteUnread, Count: t.unread}}
	case !t.counts() && len(s.Idle) > 0:
		return []Note{{Kind: NoteNoCounters}, {Kind: NoteDipsAreNoMisses}}
	case !t.counts():
		return []Note{{Kind: NoteNoCounters}}
	case n > 0:
		return []Note{{Kind: NoteUncounted, Count: n, Of: all}}
	}
	return nil
}

// awaited reports whether it is too early to say that a car has no counters.
func (t *Tally) awaited() bool {
	const long = 10.0 // seconds: the slowest adapter has asked every cylinder by then
	return !t.counts() && t.seconds(t.last) < long
}

func (t *Tally) unreported(cylinders int) int {
	n := 0
	for i := range cylinders {
		if !t.lanes[i].reported {
			n++
		}
	}
	return n
}

// standsStill reports whether nothing was counted though much ran.
func standsStill(total []Cell) bool {
	const much = 3000 // firings: three clean thousands bound the rate at one in a thousand (rule of three)
	reported := false
	for _, c := range total {
		if c.Reported && (c.Misses > 0 || c.Firings < much) {
			return false
		}
		reported = reported || c.Reported
	}
	return reported
}
