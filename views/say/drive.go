package say

import (
	"cmp"
	"math"
	"slices"
	"strconv"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd/counters"
)

// Verdict is one sentence on what a drive has shown. Unless a cylinder stands out beyond chance it accuses none. Codes
// that name other cylinders than the counts are told before it.
func (w Words) Verdict(s *misfire.Summary) string {
	if c := s.Verdict.Clash; c != nil {
		return w.tell("join-sentences", w.clash(c), w.found(s))
	}
	return w.found(s)
}

// clash tells that codes and counts name different cylinders, and what would settle it.
func (w Words) clash(c *misfire.Clash) string {
	codes, counts := w.Count("clash-codes", float64(len(c.Coded)), w.Numbers(c.Coded)), w.Numbers(c.Counted)
	switch c.Numbering {
	case misfire.NumberingByOrder:
		return w.tell("clash-by-order", codes, counts, w.Cylinders(c.Coded))
	case misfire.NumberingTold:
		return w.tell("clash-told", codes, counts)
	}
	return w.tell("clash-open", codes, counts)
}

// found is what the counts have shown.
func (w Words) found(s *misfire.Summary) string {
	firings, misses := s.FewestFirings(), 0.0
	for _, c := range s.Total {
		misses += c.Misses
	}
	switch s.Verdict.Finding {
	case misfire.NothingYet:
		return w.tell("say-nothing-yet")
	case misfire.EngineAwaited:
		return w.tell("drive-engine-awaited")
	case misfire.CounterAwaited:
		return w.tell("drive-counter-awaited")
	case misfire.Uncounted:
		return w.uncounted(s)
	case misfire.Named:
		return w.accusation(s)
	case misfire.RefreshAwaited:
		return w.tell("drive-refresh-awaited")
	case misfire.MissesNow:
		return w.now(s)
	case misfire.Foremost:
		c := s.Foremost()
		return w.count("drive-foremost", misses, Grouped(firings), whole(c.Misses), c.Cylinder)
	case misfire.BankMisses:
		bank := banked(s)
		return w.tell("drive-bank", s.Verdict.Bank, w.Cylinders(bank), w.Rate(overall(totalsOf(s, bank))))
	case misfire.Spread:
		return w.tell("drive-spread", w.Rate(overall(s.Total)))
	case misfire.NoMiss:
		return w.tell("drive-no-miss", Grouped(firings), Grouped(math.Floor(1000/highest(s.Total))))
	}
	return w.count("drive-none-stands-out", misses, Grouped(firings))
}

// now names cylinders that have missed too much so far, with their misses: too little ran for a rate.
func (w Words) now(s *misfire.Summary) string {
	var counts []string
	for _, n := range s.Verdict.Now {
		if c := totalOf(s, n); c != nil {
			counts = append(counts, w.tell("seen-some", w.count("count-misses", c.Misses), Grouped(math.Floor(c.Firings))))
		}
	}
	return w.onBank(s, w.Count("drive-now", float64(len(s.Verdict.Now)), w.Numbers(s.Verdict.Now), w.List(counts)))
}

// banked is the cylinders of the bank that the verdict comes to, in order.
func banked(s *misfire.Summary) []int {
	if b := s.Verdict.Bank; b > 0 && b <= len(s.Engine.Banks) {
		return slices.Sorted(slices.Values(s.Engine.Banks[b-1]))
	}
	return nil
}

// totalsOf is the totals of some cylinders.
func totalsOf(s *misfire.Summary, cylinders []int) (totals []misfire.Cell) {
	for _, n := range cylinders {
		if c := totalOf(s, n); c != nil {
			totals = append(totals, *c)
		}
	}
	return totals
}

// totalOf is the total of a cylinder; nil where there is none.
func totalOf(s *misfire.Summary, cylinder int) *misfire.Cell {
	for i := range s.Total {
		if s.Total[i].Cylinder == cylinder {
			return &s.Total[i]
		}
	}
	return nil
}

// whole writes a count without parting its thousands.
func whole(v float64) string { return strconv.FormatFloat(v, 'f', 0, 64) }

// uncounted speaks of a car without counters, of whose idle the worst gear state is told first.
func (w Words) uncounted(s *misfire.Summary) string {
	if slices.ContainsFunc(s.Notes, func(n misfire.Note) bool { return n.Kind == misfire.NoteUnread }) {
		return w.tell("drive-unread")
	}
	idle := s.Idle
	const least = 0.5 // minutes of idle that make a rate of dips
	said := slices.Clone(idle)
	said = slices.DeleteFunc(said, func(d misfire.IdleDips) bool { return d.Minutes < least })
	if len(said) == 0 {
		return w.tell("drive-uncounted")
	}
	slices.SortStableFunc(said, func(a, b misfire.IdleDips) int { return cmp.Compare(b.PerMinute(), a.PerMinute()) })
	parts := []string{w.tell("dips-first", perMinute(said[0].PerMinute()), w.InGear(said[0].Gear))}
	for _, d := range said[1:] {
		parts = append(parts, w.tell("dips-more", perMinute(d.PerMinute()), w.InGear(d.Gear)))
	}
	return w.tell("drive-dips", w.Commas(parts))
}

// perMinute writes how often something happens a minute.
func perMinute(r float64) string {
	if r > 0 && r < 0.95 {
		return strconv.FormatFloat(r, 'f', 1, 64)
	}
	return whole(r)
}

// highest is the highest upper limit of the cylinders that are counted, per 1,000 firings.
func highest(total []misfire.Cell) float64 {
	high := 0.0
	for _, c := range total {
		if c.Reported && c.Known() {
			high = max(high, c.High)
		}
	}
	return high
}

// overall is the rate of all cylinders together, per 1,000 firings.
func overall(total []misfire.Cell) float64 {
	var misses, firings float64
	for _, c := range total {
		misses += c.Misses
		firings += c.Firings
	}
	return 1000 * misses / firings
}

// accusation names the cylinders, with the first one's rate in each gear state.
func (w Words) accusation(s *misfire.Summary) string {
	first := s.Verdict.Cylinders[0]
	if len(s.Verdict.Dead) > 0 {
		return w.silent(s)
	}
	rates := w.tell("rate-of-firings", w.rateOf(s, first))
	if said := told(s); len(said) > 0 {
		parts := []string{w.tell("rate-of-firings-in", w.cellRate(&said[0]), w.InGear(said[0].Condition.Gear))}
		for i := range said[1:] {
			c := &said[1+i]
			parts = append(parts, w.tell("rate-in", w.cellRate(c), w.InGear(c.Condition.Gear)))
		}
		rates = w.Commas(parts)
	}
	text := w.Count("drive-named", float64(len(s.Verdict.Cylinders)), w.Numbers(s.Verdict.Cylinders), rates, first)
	if bank := banked(s); len(bank) > 0 && len(s.Verdict.Cylinders) == len(bank) {
		text = w.tell("drive-bank-named", s.Verdict.Bank, w.Cylinders(bank), rates, first)
	}
	if above := s.Verdict.AboveLoad; above > 0 && s.Verdict.WorseIn != gear.ParkNeutral {
		text = w.tell("drive-above-load", text, above)
	}
	if into, worse := s.WorseSince(first); worse {
		text = w.tell("drive-worse-since", text, Into(into))
	}
	return w.onBank(s, w.tell("join-sentence", text))
}

// onBank adds the bank to cylinders of it that are not named as the whole of it.
func (w Words) onBank(s *misfire.Summary, text string) string {
	bank := banked(s)
	if len(bank) == 0 || len(s.Verdict.Dead) == 0 && len(s.Verdict.Cylinders) == len(bank) {
		return text
	}
	return w.tell("join-sentences", text, w.tell("drive-all-on-bank", s.Verdict.Bank, w.Cylinders(bank)))
}

// silent names the cylinders that do not fire, and those that miss besides.
func (w Words) silent(s *misfire.Summary) string {
	dead := s.Verdict.Dead
	text := w.Count("drive-dead", float64(len(dead)), w.Numbers(dead))
	var rest []int
	for _, c := range s.Verdict.Cylinders {
		if !slices.Contains(dead, c) {
			rest = append(rest, c)
		}
	}
	if len(rest) > 0 {
		text = w.Count("drive-dead-besides", float64(len(rest)), text, w.Numbers(rest), w.tell("rate-of-firings", w.rateOf(s, rest[0])))
	}
	return w.onBank(s, w.tell("join-sentence", text))
}

// rateOf is the rate of one cylinder in the whole drive, unknown where it is not among the totals.
func (w Words) rateOf(s *misfire.Summary, cylinder int) string {
	if c := totalOf(s, cylinder); c != nil {
		return w.cellRate(c)
	}
	return w.Rate(math.NaN())
}

// cellRate is the rate of a cell: "31", or "at least 31" where its counter reached its end.
func (w Words) cellRate(c *misfire.Cell) string {
	if c.AtLeast {
		return w.tell("rate-not-under", w.Rate(c.Rate))
	}
	return w.Rate(c.Rate)
}

// told is the gear states whose rate is worth telling of the first cylinder accused, the one it is worse in
// first and then by rate. A few firings make no rate.
func told(s *misfire.Summary) []misfire.Cell {
	const enough = 200 // firings: a minute at most
	v := s.Verdict
	var said []misfire.Cell
	for _, c := range s.ByGear {
		if c.Cylinder == v.Cylinders[0] && c.Known() && c.Apart && (c.Firings >= enough || c.Condition.Gear == v.WorseIn) {
			said = append(said, c)
		}
	}
	slices.SortStableFunc(said, func(a, b misfire.Cell) int {
		if x, y := a.Condition.Gear == v.WorseIn, b.Condition.Gear == v.WorseIn; x != y {
			if x {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.Rate, a.Rate)
	})
	return said
}

// Notes are what a reader must know to take a drive's numbers for what they are, a phrase each.
func (w Words) Notes(s *misfire.Summary) []string {
	var said []string
	for _, n := range s.Notes {
		said = append(said, w.note(&n))
	}
	return said
}

func (w Words) note(n *misfire.Note) string {
	switch n.Kind {
	case misfire.NoteNoCounters:
		return w.tell("note-no-counters")
	case misfire.NoteUnread:
		return w.tell("note-unread", n.Count)
	case misfire.NoteDipsAreNoMisses:
		return w.tell("note-dips")
	case misfire.NoteUncounted:
		return w.tell("note-uncounted", n.Count, n.Of)
	case misfire.NoteMap:
		return w.tell("note-map")
	case misfire.NoteOtherModule:
		return w.tell("note-other-module")
	case misfire.NoteOwnCounts:
		return w.tell("note-own-counts")
	case misfire.NoteOwnBlocks:
		return w.tell("note-own-blocks")
	case misfire.NoteByCode:
		return w.tell("note-by-code")
	case misfire.NoteRefreshUnknown:
		return w.tell("note-refresh-unknown")
	case misfire.NoteKeyOff:
		return w.tell("note-key-off")
	case misfire.NoteSaturated:
		return w.tell("note-saturated", n.Cylinder)
	case misfire.NoteOvercounted:
		return w.tell("note-overcounted", n.Cylinder)
	case misfire.NoteSetAside:
		return w.count("note-set-aside", float64(n.Count), n.Cylinder)
	case misfire.NoteStill:
		return w.tell("note-still", n.Cylinder)
	case misfire.NoteNoneMoved:
		return w.tell("note-none-moved")
	case misfire.NoteAverageDisagrees:
		a := n.Average
		return w.tell("note-average", n.Cylinder, whole(a.Before), whole(a.After), whole(a.Counted), whole(a.Due))
	}
	return ""
}

// CounterValue is a value of a maker's count in words.
func (w Words) CounterValue(kind counters.Kind, value float64) string {
	number := strconv.FormatFloat(value, 'f', -1, 64)
	switch kind {
	case counters.Clear:
		return w.tell("counter-clear", number)
	case counters.Revolutions:
		return w.tell("counter-revolutions", number)
	case counters.Percent:
		return w.tell("counter-percent", number)
	}
	return w.tell("counter-cycle", number)
}
