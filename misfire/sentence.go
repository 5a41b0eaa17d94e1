package misfire

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// sentence says in words what is known. Unless a cylinder stands out beyond chance it accuses none.
func (t *Tally) sentence(s *Summary, v Verdict) string {
	firings, misses := fewestFirings(s.Total), 0.0
	for _, c := range s.Total {
		misses += c.Misses
	}
	switch {
	case s.Cycles == 0:
		return "Waiting for the engine to run."
	case t.awaited():
		return "Listening: no counter has been read yet."
	case !t.counts():
		return uncounted(s.Idle)
	case len(v.Cylinders) > 0:
		return accusation(s, v)
	case s.Refresh.Kind == RefreshUnknown && firings == 0:
		return "Listening: the counters have not been refreshed yet."
	case tooEarly(s.Total, misses, t.cfg.Ceiling):
		c, most := foremost(s.Total)
		return fmt.Sprintf("%s in %s firings of each cylinder, %.0f on cylinder %d: too little running to name it yet.",
			plural(misses, "miss", "misses"), rate.Thousands(firings), most, c)
	case v.Random:
		return fmt.Sprintf("%s of 1,000 firings miss, spread over the cylinders; none stands out.", rate.Plain(overall(s.Total)))
	case firings == 0:
		return "Listening: the counters have not been refreshed yet."
	case misses == 0:
		return fmt.Sprintf("No miss in %s firings of each cylinder; there may still be up to 1 in %s.",
			rate.Thousands(firings), rate.Thousands(math.Floor(1000/highest(s.Total))))
	}
	return fmt.Sprintf("%s in %s firings of each cylinder; no cylinder stands out.", plural(misses, "miss", "misses"), rate.Thousands(firings))
}

// uncounted speaks of a car without counters, of whose idle the worst gear state is told first.
func uncounted(idle []IdleDips) string {
	var said []IdleDips
	for _, d := range idle {
		if d.Minutes >= 0.5 {
			said = append(said, d)
		}
	}
	if len(said) == 0 {
		return "This car reports no misfire counts; codes, lamp and idle are all there is."
	}
	slices.SortStableFunc(said, func(a, b IdleDips) int { return cmp.Compare(b.PerMinute(), a.PerMinute()) })
	var parts []string
	for k, d := range said {
		times := ""
		if k == 0 {
			times = " times a minute"
		}
		parts = append(parts, fmt.Sprintf("%s%s %s", perMinute(d.PerMinute()), times, inWords(d.Gear)))
	}
	return fmt.Sprintf("This car reports no misfire counts; the idle dips %s: weaker evidence.", strings.Join(parts, ", "))
}

// PerMinute is the dips a minute.
func (d IdleDips) PerMinute() float64 { return float64(d.Dips) / d.Minutes }

// perMinute prints how often something happens a minute.
func perMinute(r float64) string {
	if r > 0 && r < 0.95 {
		return fmt.Sprintf("%.1f", r)
	}
	return fmt.Sprintf("%.0f", r)
}

// tooEarly reports that most misses are on one cylinder, which may be above the ceiling though chance cannot be
// ruled out yet.
func tooEarly(total []Cell, misses, ceiling float64) bool {
	const few, most = 3, 0.6
	c, own := foremost(total)
	return own >= few && own >= most*misses && total[c-1].High > ceiling
}

// highest is the highest upper limit of the cylinders that are counted, per 1,000 firings.
func highest(total []Cell) float64 {
	high := 0.0
	for _, c := range total {
		if c.Reported && c.Known() {
			high = max(high, c.High)
		}
	}
	return high
}

// foremost is the cylinder with the most misses.
func foremost(total []Cell) (cylinder int, misses float64) {
	for _, c := range total {
		if c.Misses > misses {
			cylinder, misses = c.Cylinder, c.Misses
		}
	}
	return cylinder, misses
}

// accusation names the cylinders, with the first one's rate in each gear state.
func accusation(s *Summary, v Verdict) string {
	first := v.Cylinders[0]
	said := told(s, v)
	text := fmt.Sprintf("%s %s of 1,000 firings", name(v.Cylinders), rate.Plain(s.Total[first-1].Rate))
	for k, c := range said {
		if k == 0 {
			text = fmt.Sprintf("%s %s of 1,000 firings %s", name(v.Cylinders), rate.Plain(c.Rate), inWords(c.Condition.Gear))
			continue
		}
		text += fmt.Sprintf(", %s %s", rate.Plain(c.Rate), inWords(c.Condition.Gear))
	}
	if into, worse := firstWorsening(s, first); worse {
		text += "; worse since " + clockTime(into)
	}
	return text + "."
}

// told is the gear states whose rate is worth telling of the first cylinder accused, the one it is worse in
// first and then by rate. A few firings make no rate.
func told(s *Summary, v Verdict) []Cell {
	const enough = 200 // firings: a minute at most
	var said []Cell
	for _, c := range s.ByGear {
		if c.Cylinder == v.Cylinders[0] && c.Known() && c.Apart && (c.Firings >= enough || c.Condition.Gear == v.WorseIn) {
			said = append(said, c)
		}
	}
	slices.SortStableFunc(said, func(a, b Cell) int {
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

// name is the subject of the sentence: the cylinders that miss, and that the figures are the first one's.
func name(cylinders []int) string {
	if len(cylinders) == 1 {
		return fmt.Sprintf("Cylinder %d misses", cylinders[0])
	}
	var all []string
	for _, c := range cylinders {
		all = append(all, fmt.Sprint(c))
	}
	last := len(all) - 1
	return fmt.Sprintf("Cylinders %s and %s miss; %d the most:", strings.Join(all[:last], ", "), all[last], cylinders[0])
}

// inWords names a gear state within a sentence.
func inWords(s gear.State) string {
	switch s {
	case gear.ParkNeutral:
		return "in Park or Neutral"
	case gear.Drive:
		return "in Drive"
	case gear.Reverse:
		return "in Reverse"
	case gear.Moving:
		return "on the move"
	}
	return "in an unknown gear"
}

// clockTime is a time into the drive, as 02:10; hours go on as minutes.
func clockTime(sec float64) string {
	return fmt.Sprintf("%02d:%02d", int(sec)/60, int(sec)%60)
}

func fewestFirings(total []Cell) float64 {
	fewest := math.Inf(1)
	for _, c := range total {
		if c.Reported {
			fewest = min(fewest, c.Firings)
		}
	}
	if math.IsInf(fewest, 1) {
		return 0
	}
	return math.Floor(fewest)
}

// overall is the rate of all cylinders together, per 1,000 firings.
func overall(total []Cell) float64 {
	var misses, firings float64
	for _, c := range total {
		misses += c.Misses
		firings += c.Firings
	}
	return 1000 * misses / firings
}

func plural(n float64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return rate.Thousands(n) + " " + many
}
