package chart

import (
	"fmt"
	"math"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
)

// All words that stand in the charts.
const (
	wordRate     = "misses per 1,000 firings"
	wordCylinder = "cylinder"
	wordLimits   = "bars: 95 % limits"
	wordNoRate   = "no\ncount"

	wordRPM       = "rpm"
	wordLoad      = "load %"
	wordMarks     = "marks"
	wordNotJudged = "not judged"
	wordSpread    = "mean, least and most"
	wordTaller    = "misses counted: 1, 10, 100 or more"
	wordUncounted = "no count"
	wordBlank     = "blank: nothing recorded"

	wordRatio       = "misses after the repair for each one before, at equal running"
	wordFewer       = "fewer after"
	wordMore        = "more after"
	wordNotCompared = "not compared"
	wordNoneBefore  = "none before"
	wordAtLeast     = "at least"

	wordBandRPM  = "engine speed, rpm"
	wordBandLoad = "load"
	wordThin     = "too little running: misses in firings"
)

func wordGear(s gear.State) string {
	switch s {
	case gear.ParkNeutral:
		return "P/N"
	case gear.Drive:
		return "D at rest"
	case gear.Reverse:
		return "R"
	case gear.Moving:
		return "moving"
	}
	return "not known"
}

func wordCeiling(rate float64) string { return "healthy up to " + number(rate) }

func countText(s *Spot) string {
	return number(math.Round(s.Misses)) + " in " + number(math.Round(s.Firings))
}

// wordSpeed is a band of engine speed without its unit.
func wordSpeed(b misfire.RPMBand) string { return strings.TrimSuffix(b.String(), " rpm") }

func wordTime(bin time.Duration, hours bool) string {
	text := "time since the start, min:s"
	if hours {
		text = "time since the start, h:min"
	}
	if bin > time.Second {
		text += fmt.Sprintf("; one tick for each %d s", int(bin.Seconds()))
	}
	return text
}
