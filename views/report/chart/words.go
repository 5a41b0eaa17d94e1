package chart

import (
	"strings"

	"stumble/misfire"
	"stumble/misfire/gear"
)

// Words are the words of the charts, and how figures are written on the page that they stand on, so that both say the
// same. Charts are drawn in them: their methods make the charts.
type Words struct {
	Gear  func(gear.State) string              // the name of a gear state
	Rate  func(perThousand float64) string     // a rate in figures
	Of    func(misses, firings float64) string // what was counted, briefly: "3 in 140"
	Under func(limit string) string            // "under 1"
	Range func(low, high string) string        // "1 to 5"
	More  func(low string) string              // "100 or more"

	None, Cylinder string

	PerThousand string              // the scale of Rates
	Limits      string              // what the bars are
	Healthy     func(string) string // the line up to which a cylinder counts as healthy
	NoCount     string              // in two lines at most

	RPM, Load, Marked, NotJudged string // what stands beside the parts of a strip, in a word or two
	Spread                       string // the key of a curve
	Ticks                        string // the key of the ticks that tell misses: of one, ten, a hundred
	NotRecorded                  string
	Minutes, Hours               string             // the scale of time, in minutes and seconds, and in hours and minutes
	EachTick                     func(s int) string // how many seconds a tick stands for

	Ratio       string // the scale of Ratios
	Fewer, Most string // what its two sides mean

	Speed, LoadBand string // the scales of a map
	TooLittle       string
}

// speed is a band of engine speed without its unit.
func speed(b misfire.RPMBand) string { return strings.TrimSuffix(b.String(), " rpm") }
