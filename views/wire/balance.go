package wire

import (
	"stumble/misfire/guide"
	"stumble/views/say"
)

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
	Cylinder  int           `json:"cylinder"`
	Verdict   guide.Verdict `json:"verdict"` // "not_cut", "cannot_say", "works", "in_doubt", "gives_little_work"
	Cuts      int           `json:"cuts"`
	Drop      Number        `json:"drop"`
	Low       Number        `json:"low"`
	High      Number        `json:"high"`
	Share     Number        `json:"share"`
	ShareLow  Number        `json:"share_low"`
	ShareHigh Number        `json:"share_high"`
}

// NewBalance returns what a balance test showed, as an object.
func NewBalance(r *guide.BalanceResult) Balance {
	words := say.English()
	o := Balance{Kind: "balance", Sentence: words.Balance(r), Weak: list(r.Weak), Doubtful: list(r.Doubtful), Base: rounded(r.Base),
		Median: rounded(r.Median), Chance: rounded(r.Chance), Cylinders: []BalanceCylinder{}, Notes: words.BalanceNotes(r)}
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		o.Cylinders = append(o.Cylinders, BalanceCylinder{c.Cylinder, c.Verdict, c.Cuts, rounded(c.Drop), rounded(c.Low), rounded(c.High),
			rounded(c.Share), rounded(c.ShareLow), rounded(c.ShareHigh)})
	}
	return o
}
