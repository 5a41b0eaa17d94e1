package say

import (
	"math"
	"strconv"

	"stumble/misfire/proof"
)

// SwapVerdict is how a swap is read, in words: "Followed the part".
func (w Words) SwapVerdict(v proof.SwapVerdict) string {
	switch v {
	case proof.FollowedPart:
		return w.tell("swap-followed")
	case proof.StayedPut:
		return w.tell("swap-stayed")
	case proof.BothMiss:
		return w.tell("swap-both")
	case proof.NeitherMisses:
		return w.tell("swap-neither")
	}
	return w.tell("swap-cannot-tell")
}

// Swap is how a swap came out, complete.
func (w Words) Swap(r *proof.SwapResult) string {
	if r.Verdict == proof.CannotTell {
		return w.SwapFinding(r)
	}
	opening := w.SwapVerdict(r.Verdict)
	switch r.Verdict {
	case proof.BothMiss:
		opening = w.tell("swap-both-short")
	case proof.NeitherMisses:
		opening = w.tell("swap-neither-short")
	}
	return w.tell("sentence-opened", opening, lower(w.SwapFinding(r)))
}

// SwapFinding is how a swap came out, for a place where its verdict stands beside it.
func (w Words) SwapFinding(r *proof.SwapResult) string {
	switch r.Verdict {
	case proof.FollowedPart:
		return w.tell("swap-followed-text", r.From, r.To, w.odds(r.Odds), r.Part)
	case proof.StayedPut:
		return w.tell("swap-stayed-text", r.From, r.To, w.odds(r.Odds), r.Part)
	case proof.BothMiss:
		return w.tell("swap-both-text", r.From, r.To, w.odds(r.Odds))
	case proof.NeitherMisses:
		return w.tell("swap-neither-text", r.From, r.To, w.odds(r.Odds))
	}
	text := w.tell("swap-open", r.Part, r.From)
	if len(r.Needed) == 0 {
		return w.tell("swap-open-hopeless", text)
	}
	switch {
	case r.Odds >= 1.5:
		text = w.tell("swap-leans-followed", text, w.odds(r.Odds))
	case r.Odds <= 1/1.5:
		text = w.tell("swap-leans-stayed", text, w.odds(1/r.Odds))
	}
	n := r.Needed[0]
	return w.tell("swap-open-wanted", text, w.minutes(n.Minutes), w.inFrameGear(n.Gear))
}

// SwapMeaning says what a swap is good for: what to replace, or where to look.
func (w Words) SwapMeaning(r *proof.SwapResult) string {
	switch r.Verdict {
	case proof.FollowedPart:
		return w.tell("meaning-followed", r.Part, r.To)
	case proof.StayedPut:
		return w.tell("meaning-stayed", r.Part, r.From)
	}
	return w.tell("meaning-swap-open", r.Part)
}

// SwapNotes are what a reader must know to take a swap for what it is, a phrase each.
func (w Words) SwapNotes(r *proof.SwapResult) []string {
	notes := []string{w.alike(r.Tolerance)}
	if r.MayShareCoil {
		notes = append(notes, w.tell("note-one-coil", r.From, r.To))
	}
	if r.Verdict == proof.FollowedPart || r.Verdict == proof.StayedPut {
		notes = append(notes, w.tell("note-nothing-else", r.Part))
	}
	return notes
}

// odds is odds as told: "4.2 to 1", "more than a million to 1".
func (w Words) odds(odds float64) string {
	const most = 1e6
	switch {
	case odds >= most:
		return w.tell("odds-most")
	case odds < 10:
		return w.tell("odds-to-1", strconv.FormatFloat(odds, 'f', 1, 64))
	}
	return w.tell("odds-to-1", Grouped(roundDown(math.Floor(odds))))
}
