package misfire

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// worseningHeight is the height of the alarm for a doubled rate, per cylinder and condition. By the table of
// package rate an alarm by chance then comes about once in 20 hours on a four-cylinder engine at idle that
// misses once in 1,000 firings.
const worseningHeight = 6.5

// gearOrder is the order in which gear states are told.
var gearOrder = [...]gear.State{gear.ParkNeutral, gear.Drive, gear.Reverse, gear.Moving}

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

// verdict judges the drive. Only windows that lie within one gear state decide; what is shared out by
// estimate is shown, but accuses nobody.
func (t *Tally) verdict(b *book, s *Summary) Verdict {
	n := s.Engine.Cylinders
	v := Verdict{EaseOff: t.easeOff(s)}
	bad := t.accused(b, n)
	for i := range n {
		if bad[i] {
			v.Cylinders = append(v.Cylinders, i+1)
		}
	}
	slices.SortStableFunc(v.Cylinders, func(x, y int) int { return cmp.Compare(s.Total[y-1].Rate, s.Total[x-1].Rate) })
	if len(v.Cylinders) == 0 {
		v.Random = t.random(b, n)
	} else {
		v.WorseIn = b.worseIn(v.Cylinders[0] - 1)
	}
	v.Worsening = b.worsening()
	v.Sentence = t.sentence(b, s, v)
	return v
}

// accused tells which cylinders stand out beyond chance and above the ceiling: in the drive as a whole, or in
// one gear state, allowing for having looked at each.
func (t *Tally) accused(b *book, n int) [engine.MaxCylinders]bool {
	var bad [engine.MaxCylinders]bool
	looks := 1
	for g, c := range b.gears.cells {
		if c != nil && gear.State(g) != gear.Unknown {
			looks++
		}
	}
	accuse := func(counts []rate.Count, phi float64, lanes []int) {
		siblings := rate.CompareSiblings(counts, phi, t.cfg.Ceiling)
		for k, c := range siblings.Cylinders {
			if c.Odd && c.Adjusted*float64(looks) < 0.01 {
				bad[lanes[k]] = true
			}
		}
	}
	for g, c := range b.gears.cells {
		if c != nil && gear.State(g) != gear.Unknown {
			accuse(t.countsOf(b, c, n))
		}
	}
	accuse(t.wholeCounts(b, n))
	return bad
}

// countsOf is the unmixed counts of the cylinders that have a counter, with their pooled dispersion.
func (t *Tally) countsOf(b *book, c *cell, n int) (counts []rate.Count, phi float64, lanes []int) {
	var bursts []rate.Burst
	for i := range n {
		if !t.lanes[i].reported {
			continue
		}
		tl := &c.cylinders[i]
		phi, _ := b.own(&b.gears, tl, i)
		bursts = append(bursts, rate.Burst{Phi: phi, Misses: tl.misses})
		counts = append(counts, rate.Count{Misses: tl.misses, Firings: tl.firings})
		lanes = append(lanes, i)
	}
	return counts, rate.PooledPhi(bursts), lanes
}

// wholeCounts is the counts of the whole drive. Their dispersion is that of the gear states: the difference
// between gear states is no burst.
func (t *Tally) wholeCounts(b *book, n int) (counts []rate.Count, phi float64, lanes []int) {
	var bursts []rate.Burst
	for i := range n {
		if !t.lanes[i].reported {
			continue
		}
		sum := b.total[i]
		bursts = append(bursts, rate.Burst{Phi: b.dispersion(&b.fine, i), Misses: sum.misses})
		counts = append(counts, rate.Count{Misses: sum.misses, Firings: sum.firings})
		lanes = append(lanes, i)
	}
	return counts, rate.PooledPhi(bursts), lanes
}

// random reports whether the engine as a whole misses more than it may, though no cylinder stands out.
func (t *Tally) random(b *book, n int) bool {
	counts, phi, _ := t.wholeCounts(b, n)
	return rate.CompareSiblings(counts, phi, t.cfg.Ceiling).Random
}

// worseIn is the gear state in which a cylinder misses most, when it is worse there beyond chance. What is
// tested is the question the complaint asks: a gear in, against Park or Neutral; failing that, the gear state
// of the highest rate against that of the lowest.
func (b *book) worseIn(cylinder int) gear.State {
	phi := b.dispersion(&b.gears, cylinder)
	neutral, inGear := b.lever.counted(leverNeutral, cylinder), b.lever.counted(leverInGear, cylinder)
	lever := rate.Compare(inGear, neutral, phi)
	high, low := b.extremes(cylinder)
	switch {
	case high == low:
		return gear.Unknown
	case lever.Greater < plannedChance:
		if high == gear.ParkNeutral {
			return gear.Unknown // its mixed windows say otherwise than the rest
		}
		return high
	case lever.Less < plannedChance:
		return gear.ParkNeutral
	}
	if rate.Compare(b.gears.counted(int(high), cylinder), b.gears.counted(int(low), cylinder), phi).Greater < foundChance {
		return high
	}
	return gear.Unknown
}

// How rarely chance alone may put on a difference: for the one question asked beforehand, and for the widest
// of all differences, which was picked because it is wide.
const (
	plannedChance = 0.05
	foundChance   = 0.01
)

// extremes is the gear states of a cylinder's highest and lowest rate.
func (b *book) extremes(cylinder int) (high, low gear.State) {
	for _, g := range gearOrder {
		r := b.gears.counted(int(g), cylinder).Rate()
		if math.IsNaN(r) {
			continue
		}
		if high == gear.Unknown || r > b.gears.counted(int(high), cylinder).Rate() {
			high = g
		}
		if low == gear.Unknown || r < b.gears.counted(int(low), cylinder).Rate() {
			low = g
		}
	}
	return high, low
}

// counted is what decides of one cylinder in one group: its unmixed windows.
func (l *level) counted(group, cylinder int) rate.Count {
	if c := l.cells[group]; c != nil {
		t := &c.cylinders[cylinder]
		return rate.Count{Misses: t.misses, Firings: t.firings}
	}
	return rate.Count{}
}

// worsening is the cylinders whose rate rose within like condition.
func (b *book) worsening() []int {
	var found []int
	for i := range engine.MaxCylinders {
		if _, worse := b.worseSince(i); worse {
			found = append(found, i+1)
		}
	}
	return found
}

// worseSince is when, in seconds, the rate of a cylinder first began to rise in any condition.
func (b *book) worseSince(cylinder int) (sec float64, worse bool) {
	sec = math.Inf(1)
	for _, c := range b.fine.cells {
		if c != nil && c.cylinders[cylinder].alarm < sec {
			sec, worse = c.cylinders[cylinder].alarm, true
		}
	}
	return sec, worse
}

// easeOff reports misfire that can overheat the catalyst, now: the last block over the limit, or the lamp
// flashing.
func (t *Tally) easeOff(s *Summary) bool {
	return s.Live.MIL == MILFlashing || s.Live.Running && s.Whole.Catalyst.Last > s.Whole.Catalyst.Limit
}

// sentence says in words what is known.
func (t *Tally) sentence(b *book, s *Summary, v Verdict) string {
	firings, misses := fewestFirings(s.Total), 0.0
	for _, c := range s.Total {
		misses += c.Misses
	}
	switch {
	case s.Engine.Cylinders == 0 && !s.Live.Running && s.Cycles == 0:
		return "Waiting for the engine to run."
	case s.Engine.Cylinders == 0 || t.unreported(s.Engine.Cylinders) == s.Engine.Cylinders:
		return "This car reports no misfire counts; codes, lamp and idle are all there is."
	case len(v.Cylinders) > 0:
		return accusation(b, s, v)
	case tooEarly(s.Total, misses):
		c, most := foremost(s.Total)
		return fmt.Sprintf("%s in %s firings of each cylinder, %.0f on cylinder %d: too little running to name it yet.",
			plural(misses, "miss", "misses"), thousands(firings), most, c)
	case v.Random:
		return fmt.Sprintf("%s of 1,000 firings miss, spread over the cylinders; none stands out.", plainRate(overall(s.Total)))
	case firings == 0:
		return "Listening: the counters have not been refreshed yet."
	case misses == 0:
		return fmt.Sprintf("No miss in %s firings of each cylinder; there may still be up to 1 in %s.",
			thousands(firings), thousands(math.Floor(1000/highest(s.Total))))
	}
	return fmt.Sprintf("%s in %s firings of each cylinder; no cylinder stands out.", plural(misses, "miss", "misses"), thousands(firings))
}

// tooEarly reports that most misses are on one cylinder, though chance cannot be ruled out yet.
func tooEarly(total []Cell, misses float64) bool {
	const few, most = 3, 0.6
	_, own := foremost(total)
	return own >= few && own >= most*misses
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

// accusation names the cylinders, with the first one's rate in each gear state, the worst first.
func accusation(b *book, s *Summary, v Verdict) string {
	first := v.Cylinders[0]
	var said []Cell
	for _, c := range s.ByGear {
		if c.Cylinder == first && c.Known() && c.Apart {
			said = append(said, c)
		}
	}
	slices.SortStableFunc(said, func(a, b Cell) int { return cmp.Compare(b.Rate, a.Rate) })
	var parts []string
	for k, c := range said {
		if k == 0 {
			parts = append(parts, fmt.Sprintf("%s of 1,000 firings %s", plainRate(c.Rate), inWords(c.Condition.Gear)))
			continue
		}
		parts = append(parts, fmt.Sprintf("%s %s", plainRate(c.Rate), inWords(c.Condition.Gear)))
	}
	text := fmt.Sprintf("%s %s", name(v.Cylinders), strings.Join(parts, ", "))
	if len(parts) == 0 {
		text = fmt.Sprintf("%s %s of 1,000 firings", name(v.Cylinders), plainRate(s.Total[first-1].Rate))
	}
	if sec, worse := b.worseSince(first - 1); worse {
		text += "; worse since " + clockTime(sec)
	}
	return text + "."
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

// clockTime is a time into the drive, as 02:10.
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

// plainRate prints a rate with as many digits as one reads at a glance.
func plainRate(r float64) string {
	switch {
	case r < 0.05:
		return "none"
	case r < 9.95:
		return fmt.Sprintf("%.1f", r)
	}
	return fmt.Sprintf("%.0f", r)
}

func plural(n float64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%.0f %s", n, many)
}

// thousands prints a whole number with commas.
func thousands(v float64) string {
	digits := fmt.Sprintf("%.0f", v)
	var out []byte
	for i := range len(digits) {
		if i > 0 && (len(digits)-i)%3 == 0 {
			out = append(out, ',')
		}
		out = append(out, digits[i])
	}
	return string(out)
}
