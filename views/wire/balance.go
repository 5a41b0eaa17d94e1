package wire

import (
	"time"

	"stumble/misfire/balance"
)

// BalanceEvent is an event of a balance test: {"kind":"balance_step",...}.
type BalanceEvent struct {
	Kind     string `json:"kind"`
	Event    string `json:"event"` // "asked", "counted", "late", "measured", "void", "skipped", "over"
	Ask      string `json:"ask"`   // "nothing", "ready", "base", "unplug", "hold", "plug_in", "cool"
	Time     Stamp  `json:"time"`
	Seconds  Number `json:"seconds"`  // since the drive began
	Cylinder *int   `json:"cylinder"` // null where none is meant
	Number   int    `json:"number"`
	Of       int    `json:"of"`
	Round    int    `json:"round"`
	Text     string `json:"text"`
	Left     Number `json:"seconds_left"`
}

// NewBalanceEvent is an event as a line; start is when the drive began.
func NewBalanceEvent(e balance.Event, start time.Time) BalanceEvent {
	line := BalanceEvent{Kind: "balance_step", Event: e.Kind.String(), Ask: e.Ask.String(), Time: Stamp(e.At), Seconds: unknown(),
		Number: e.Number, Of: e.Of, Round: e.Round, Text: e.Text, Left: rounded(e.Left.Seconds())}
	if !start.IsZero() {
		line.Seconds = rounded(e.At.Sub(start).Seconds())
	}
	if e.Cylinder > 0 {
		line.Cylinder = &e.Cylinder
	}
	return line
}

// Balance is what a balance test showed: {"kind":"balance",...}.
type Balance struct {
	Kind      string            `json:"kind"`
	Sentence  string            `json:"sentence"`
	Weak      []int             `json:"weak"` // cylinders that give little work, the weakest first
	Doubtful  []int             `json:"doubtful"`
	Base      Number            `json:"idle_rpm"` // before the last cut
	Median    Number            `json:"median_drop"`
	Chance    Number            `json:"chance"` // how far one fall is off by chance, a standard deviation
	Cylinders []BalanceCylinder `json:"cylinders"`
	Notes     []string          `json:"notes"`
}

// BalanceCylinder is one cylinder of a balance test. Falls in rpm, shares in percent of the median fall, each with
// its 95 % limits.
type BalanceCylinder struct {
	Cylinder  int             `json:"cylinder"`
	Verdict   balance.Verdict `json:"verdict"` // "not_cut", "cannot_say", "works", "in_doubt", "gives_little_work"
	Cuts      int             `json:"cuts"`
	Drop      Number          `json:"drop"`
	Low       Number          `json:"low"`
	High      Number          `json:"high"`
	Share     Number          `json:"share"`
	ShareLow  Number          `json:"share_low"`
	ShareHigh Number          `json:"share_high"`
}

// NewBalance is what a balance test showed, as an object.
func NewBalance(r *balance.Result) Balance {
	o := Balance{Kind: "balance", Sentence: r.Sentence, Weak: list(r.Weak), Doubtful: list(r.Doubtful), Base: rounded(r.Base),
		Median: rounded(r.Median), Chance: rounded(r.Chance), Cylinders: []BalanceCylinder{}, Notes: list(r.Notes)}
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		o.Cylinders = append(o.Cylinders, BalanceCylinder{c.Cylinder, c.Verdict, c.Cuts, rounded(c.Drop), rounded(c.Low), rounded(c.High),
			rounded(c.Share), rounded(c.ShareLow), rounded(c.ShareHigh)})
	}
	return o
}
