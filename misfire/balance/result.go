package balance

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
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

// String is the verdict in words.
func (v Verdict) String() string {
	names := [...]string{"not cut", "cannot say", "works", "in doubt", "gives little work"}
	if int(v) < len(names) {
		return names[v]
	}
	return "?"
}

// MarshalText is the verdict as one word: "not_cut", "cannot_say", "works", "in_doubt", "gives_little_work".
func (v Verdict) MarshalText() ([]byte, error) {
	return []byte(strings.ReplaceAll(v.String(), " ", "_")), nil
}

// Cylinder is what cutting one cylinder did. Speeds in rpm, with 95 % limits.
type Cylinder struct {
	Cylinder            int
	Cuts                int     // that were measured
	Drop                float64 // the mean fall; NaN where none was measured
	Low, High           float64
	Share               float64 // of the median fall, percent; NaN where there is none to compare with
	ShareLow, ShareHigh float64
	Verdict             Verdict
}

// Margin is half the width of the limits.
func (c *Cylinder) Margin() float64 { return (c.High - c.Low) / 2 }

// Result is what the test showed.
type Result struct {
	Cylinders []Cylinder // by number
	Base      float64    // the idle before the last cut, rpm
	Median    float64    // of the falls, rpm; NaN under three
	Chance    float64    // how far one fall is off by chance, as a standard deviation, rpm; NaN where it is not known
	Weak      []int      // the cylinders that give little work, the weakest first
	Doubtful  []int
	Sentence  string
	Notes     []string
}

// compareLeast is how many cylinders can be compared.
const compareLeast = 3

// result works the falls out. falls are those of each cylinder, by its place.
func result(cylinders []int, falls [][]float64, base float64, n noise) Result {
	r := Result{Base: base, Median: math.NaN(), Chance: math.NaN()}
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
	slices.SortFunc(r.Cylinders, func(a, b Cylinder) int { return a.Cylinder - b.Cylinder })
	if len(drops) >= compareLeast {
		r.Median = median(drops)
	}
	r.compare(n)
	r.Sentence = r.sentence()
	r.Notes = r.notes()
	return r
}

func measured(cylinder int, falls []float64, n noise) Cylinder {
	c := Cylinder{Cylinder: cylinder, Cuts: len(falls), Drop: math.NaN(), Low: math.NaN(), High: math.NaN(),
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

func median(all []float64) float64 {
	sorted := slices.Sorted(slices.Values(all))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// felt reports whether the cuts were felt at all: the median fall lies above chance.
func (r *Result) felt(n noise) bool { return !math.IsNaN(r.Median) && r.Median > r.medianMargin(n) }

// medianMargin is half the width of the median's limits: that of a mean of them, and a quarter more (the efficiency of
// the median, pi/2, tells 1.25).
func (r *Result) medianMargin(n noise) float64 {
	cuts := 0
	for i := range r.Cylinders {
		cuts += r.Cylinders[i].Cuts
	}
	return 1.25 * n.margin(cuts)
}

// compare holds each fall against the median.
func (r *Result) compare(n noise) {
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
		if r.of(a).Drop < r.of(b).Drop {
			return -1
		}
		return 1
	})
}

// of is the cylinder of a number.
func (r *Result) of(cylinder int) *Cylinder {
	at := slices.IndexFunc(r.Cylinders, func(c Cylinder) bool { return c.Cylinder == cylinder })
	return &r.Cylinders[at]
}

// sentence says what the test showed.
func (r *Result) sentence() string {
	cut := 0
	for i := range r.Cylinders {
		if r.Cylinders[i].Cuts > 0 {
			cut++
		}
	}
	switch {
	case cut == 0:
		return "No cylinder was cut."
	case math.IsNaN(r.Median):
		return fmt.Sprintf("Too few cylinders were cut to compare them: %d are needed.", compareLeast)
	case math.IsNaN(r.Chance):
		return "The idle was watched for too short a time to tell a fall from chance."
	case math.IsNaN(r.Cylinders[slices.IndexFunc(r.Cylinders, func(c Cylinder) bool { return c.Cuts > 0 })].Share):
		return fmt.Sprintf("No cut was felt: the middle fall is %s rpm. Idle control hides it, most cylinders give little work, or the injectors stayed plugged in.", whole(r.Median))
	}
	var words []string
	switch len(r.Weak) {
	case 0:
	case 1:
		words = append(words, r.of(r.Weak[0]).weakness(r.Median))
	default:
		words = append(words, fmt.Sprintf("Cylinders %s give little work, the weakest first: their cuts slow the idle by less than half of the middle fall, %s rpm.", listed(r.Weak), whole(r.Median)))
	}
	if len(r.Doubtful) > 0 {
		words = append(words, fmt.Sprintf("Whether %s work%s as the others do cannot be told: the limits reach to both sides of half the middle fall, %s rpm.",
			cylinderWords(r.Doubtful), singular(r.Doubtful), whole(r.Median)))
	}
	if len(words) == 0 {
		words = append(words, fmt.Sprintf("No cylinder stands out: each cut slows the idle by at least half of the middle fall, %s rpm.", whole(r.Median)))
	}
	return strings.Join(words, " ")
}

// weakness says how little work a weak cylinder gives.
func (c *Cylinder) weakness(median float64) string {
	if c.Low < 0 {
		return fmt.Sprintf("Cylinder %d gives little work: its cut is not felt for sure, at most %s rpm, where the middle fall is %s rpm.", c.Cylinder, whole(c.High), whole(median))
	}
	return fmt.Sprintf("Cylinder %d gives little work: its cut slows the idle by %s rpm, %s %% of the middle fall, %s rpm.", c.Cylinder, whole(c.Drop), whole(c.Share), whole(median))
}

// notes are what a reader must know.
func (r *Result) notes() []string {
	var notes []string
	var left []int
	for i := range r.Cylinders {
		if r.Cylinders[i].Cuts == 0 {
			left = append(left, r.Cylinders[i].Cylinder)
		}
	}
	if len(left) > 0 && len(left) < len(r.Cylinders) {
		notes = append(notes, "Not measured: "+cylinderWords(left)+".")
	}
	if alike := r.alike(); len(alike) > 1 {
		notes = append(notes, capital(cylinderWords(alike))+" cannot be told apart: the limits of their falls overlap.")
	}
	return append(notes,
		"A fall is half the swing from the first seconds without the cylinder to the first with it again, before idle control has answered: compare falls with each other, never with a fixed number.",
		"The cut names the cylinder, not the cause: fuel, spark, compression or a valve.",
		"The controller counted misses of the cut cylinders and may have stored codes: they are this test's own.")
}

// alike are the cylinders that are not weak whose limits all overlap.
func (r *Result) alike() (alike []int) {
	low, high := math.Inf(-1), math.Inf(1)
	for i := range r.Cylinders {
		if c := &r.Cylinders[i]; c.Cuts > 0 && c.Verdict != Weak {
			low, high = max(low, c.Low), min(high, c.High)
			alike = append(alike, c.Cylinder)
		}
	}
	if low > high {
		return nil
	}
	return alike
}

func whole(v float64) string { return strconv.FormatFloat(math.Round(v)+0, 'f', 0, 64) }

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

func cylinderWords(cylinders []int) string {
	if len(cylinders) == 1 {
		return fmt.Sprintf("cylinder %d", cylinders[0])
	}
	return "cylinders " + listed(cylinders)
}

func singular(of []int) string {
	if len(of) == 1 {
		return "s"
	}
	return ""
}

// listed joins numbers as one says them: "1, 2 and 3".
func listed(numbers []int) string {
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = strconv.Itoa(n)
	}
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}
