package guide

import (
	"math"
	"slices"

	"stumble/misfire/rate"
)

// Half is the share of the median fall, in percent, under which a cylinder gives little work (common practice, no source:
// trade-checks "cylinder cut test").
const Half = 50

// Verdict is what a cylinder's fall is worth.
type Verdict uint8

// Verdicts.
const (
	NotCut    Verdict = iota // it was left out, or its fall could not be measured
	CannotSay                // nothing to compare with
	Even                     // it works as the others do
	Doubtful                 // it may be under half of the median fall, or not
	Weak                     // it is, for sure
)

// String returns the verdict as one word: "not_cut", "cannot_say", "works", "in_doubt", "gives_little_work".
func (v Verdict) String() string {
	return key(int(v), "not_cut", "cannot_say", "works", "in_doubt", "gives_little_work")
}

// MarshalText returns the word of String.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// Finding is how much a balance test can tell.
type Finding uint8

// Findings.
const (
	NoneCut  Finding = iota
	TooFew           // cylinders were cut to compare them: CompareLeast are needed
	TooShort         // was the idle watched, to tell a fall from chance
	NotFelt          // was any cut
	Compared         // the cylinders are; Weak and Doubtful name those that stand out
)

// CutCylinder is what cutting one cylinder did. Speeds in rpm, with 95 % limits.
type CutCylinder struct {
	Cylinder            int
	Cuts                int     // that were measured
	Drop                float64 // the mean fall; NaN where none was measured
	Low, High           float64
	Share               float64 // of the median fall, percent; NaN where there is none to compare with
	ShareLow, ShareHigh float64
	Verdict             Verdict
}

// Margin is half the width of the limits.
func (c *CutCylinder) Margin() float64 { return (c.High - c.Low) / 2 }

// BalanceResult is what the test showed.
type BalanceResult struct {
	Cylinders []CutCylinder // by number
	Base      float64       // the idle before the last cut, rpm
	Median    float64       // of the falls, rpm; NaN under three
	Chance    float64       // how far one fall is off by chance, as a standard deviation, rpm; NaN where it is not known
	Weak      []int         // the cylinders that give little work, the weakest first
	Doubtful  []int
	Finding   Finding
	Left      []int // cylinders that were not measured, where others were
	Alike     []int // that are not weak and whose limits all overlap; at least two, or none
}

// CompareLeast is how many cylinders can be compared.
const CompareLeast = 3

// result works the falls out. falls are those of each cylinder, by its place.
func result(cylinders []int, falls [][]float64, base float64, n noise) BalanceResult {
	r := BalanceResult{Base: base, Median: math.NaN(), Chance: math.NaN()}
	if n.freedom >= 1 {
		r.Chance = n.deviation
	}
	var drops []float64
	for i, cylinder := range cylinders {
		c := measured(cylinder, falls[i], n)
		if c.Cuts > 0 {
			drops = append(drops, c.Drop)
		}
		r.Cylinders = append(r.Cylinders, c)
	}
	slices.SortFunc(r.Cylinders, func(a, b CutCylinder) int { return a.Cylinder - b.Cylinder })
	if len(drops) >= CompareLeast {
		r.Median = rate.Median(drops)
	}
	r.compare(n)
	r.conclude(len(drops), n)
	return r
}

func measured(cylinder int, falls []float64, n noise) CutCylinder {
	c := CutCylinder{Cylinder: cylinder, Cuts: len(falls), Drop: math.NaN(), Low: math.NaN(), High: math.NaN(),
		Share: math.NaN(), ShareLow: math.NaN(), ShareHigh: math.NaN()}
	if len(falls) == 0 {
		return c
	}
	c.Drop = 0
	for _, f := range falls {
		c.Drop += f / float64(len(falls))
	}
	margin := n.margin(len(falls))
	c.Low, c.High, c.Verdict = c.Drop-margin, c.Drop+margin, CannotSay
	return c
}

// conclude says what the falls can tell, and about whom they cannot.
func (r *BalanceResult) conclude(cut int, n noise) {
	switch {
	case cut == 0:
		return
	case cut < CompareLeast:
		r.Finding = TooFew
	case n.freedom < 1:
		r.Finding = TooShort
	case !r.felt(n):
		r.Finding = NotFelt
	default:
		r.Finding = Compared
	}
	for i := range r.Cylinders {
		if r.Cylinders[i].Cuts == 0 {
			r.Left = append(r.Left, r.Cylinders[i].Cylinder)
		}
	}
	r.Alike = r.alike()
}

// felt reports whether the cuts were felt at all: the median fall lies above chance.
func (r *BalanceResult) felt(n noise) bool {
	return !math.IsNaN(r.Median) && r.Median > r.medianMargin(n)
}

// medianMargin is half the width of the median's limits: that of a mean of them, and a quarter more (the efficiency of
// the median, pi/2, tells 1.25).
func (r *BalanceResult) medianMargin(n noise) float64 {
	cuts := 0
	for i := range r.Cylinders {
		cuts += r.Cylinders[i].Cuts
	}
	return 1.25 * n.margin(cuts)
}

// compare holds each fall against the median.
func (r *BalanceResult) compare(n noise) {
	if !r.felt(n) {
		return
	}
	err := r.medianMargin(n)
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		if c.Cuts == 0 {
			continue
		}
		c.Share = 100 * c.Drop / r.Median
		off := math.Hypot(c.Margin(), c.Drop/r.Median*err) * 100 / r.Median // errors of a ratio, to first order
		c.ShareLow, c.ShareHigh = c.Share-off, c.Share+off
		switch {
		case c.ShareHigh < Half:
			c.Verdict = Weak
			r.Weak = append(r.Weak, c.Cylinder)
		case c.ShareLow < Half:
			c.Verdict = Doubtful
			r.Doubtful = append(r.Doubtful, c.Cylinder)
		default:
			c.Verdict = Even
		}
	}
	slices.SortFunc(r.Weak, func(a, b int) int {
		if r.Of(a).Drop < r.Of(b).Drop {
			return -1
		}
		return 1
	})
}

// Of returns the cylinder of a number.
func (r *BalanceResult) Of(cylinder int) *CutCylinder {
	at := slices.IndexFunc(r.Cylinders, func(c CutCylinder) bool { return c.Cylinder == cylinder })
	return &r.Cylinders[at]
}

// alike are the cylinders that are not weak whose limits all overlap.
func (r *BalanceResult) alike() (alike []int) {
	low, high := math.Inf(-1), math.Inf(1)
	for i := range r.Cylinders {
		if c := &r.Cylinders[i]; c.Cuts > 0 && c.Verdict != Weak {
			low, high = max(low, c.Low), min(high, c.High)
			alike = append(alike, c.Cylinder)
		}
	}
	if low > high || len(alike) < 2 {
		return nil
	}
	return alike
}
