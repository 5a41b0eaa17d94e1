package views

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views/say"
)

// Unit is how a rate is written.
type Unit uint8

const (
	perThousand Unit = iota
	Percent
	OneIn
	Counted
	Units
)

// Name is the unit in words.
func (u Unit) Name() string {
	switch u {
	case Percent:
		return "misses in 100 firings"
	case OneIn:
		return "one miss in so many firings"
	case Counted:
		return "misses of firings"
	}
	return "misses per 1,000 firings"
}

// Rate writes the rate of a cell that is known.
func (u Unit) Rate(c *misfire.Cell) string {
	switch u {
	case Percent:
		return Digits(c.Rate/10) + "%"
	case OneIn:
		if c.Misses == 0 {
			return "none"
		}
		return "1 in " + Short(1000/c.Rate)
	case Counted:
		return Short(c.Misses) + "/" + Short(c.Firings)
	}
	return Digits(c.Rate)
}

// Limits writes the 95 % limits: "21-44"; "over 21" where only the lower one holds; "" for plain counts.
func (u Unit) Limits(c *misfire.Cell) string {
	low, high := c.Low, c.High
	write := brief
	switch u {
	case Percent:
		low, high = low/10, high/10
	case OneIn:
		low, high = 1000/high, 1000/low
		write = Short
	case Counted:
		return ""
	}
	if math.IsInf(high, 1) {
		return "over " + write(low)
	}
	return write(low) + "-" + write(high)
}

// Digits writes a rate so that it has two or three digits that say something.
func Digits(v float64) string {
	switch {
	case math.IsNaN(v):
		return "-"
	case v == 0:
		return "0"
	case v < 0.1:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v < 99.95:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return Short(v)
}

// brief writes a limit: one digit after the point below ten, none above; "0" is none at all, "0.0" nearly none.
func brief(v float64) string {
	switch {
	case math.IsNaN(v):
		return "-"
	case v == 0:
		return "0"
	case v < 9.95:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return Short(v)
}

// Short writes a number of one or more within five characters up to a thousand million.
func Short(v float64) string {
	switch {
	case math.IsNaN(v):
		return "-"
	case math.IsInf(v, 0):
		return "any"
	case v < 999.5:
		return strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	case v < 9999.5:
		return say.Grouped(v)
	case v < 999.5e3:
		return strconv.FormatFloat(v/1e3, 'f', 0, 64) + "k"
	case v < 9.95e6:
		return strconv.FormatFloat(v/1e6, 'f', 1, 64) + "M"
	}
	return strconv.FormatFloat(v/1e6, 'f', 0, 64) + "M"
}

// Minutes writes a span as mm:ss.
func Minutes(d time.Duration) string {
	s := int(d.Round(time.Second) / time.Second)
	sign := ""
	if s < 0 {
		sign, s = "-", -s
	}
	return fmt.Sprintf("%s%02d:%02d", sign, s/60, s%60)
}

// Cadence says how often the car's counters move, longest wording first.
func Cadence(r misfire.Refresh) []string {
	switch r.Kind {
	case misfire.RefreshAtOnce:
		return []string{"counts move with each miss", "counts move at once", ""}
	case misfire.RefreshRevolutions:
		n := say.Grouped(r.Revolutions)
		return []string{"counts move every " + n + " revolutions", "counts every " + n + " rev", "every " + n + " rev"}
	case misfire.RefreshSeconds:
		n := Digits(r.Seconds)
		return []string{"counts move every " + n + " seconds", "counts every " + n + " s", "every " + n + " s"}
	case misfire.RefreshKeyOff:
		return []string{"counts move only when the engine stops", "counts at engine stop", "at stop"}
	}
	return []string{"how often counts move is not known yet", "counts move: ?", ""}
}

// GearWords says a gear state and who says so: "D, marked", "moving, gear 3, reported", or "moving, reported".
func GearWords(c gear.Call) []string {
	if c.State == gear.Unknown {
		return []string{"gear not known"}
	}
	state, origin := c.State.String(), ", "+originWords(c.Origin)
	if c.Number == 0 {
		return []string{state + origin}
	}
	return []string{state + ", gear " + strconv.Itoa(c.Number) + origin, state + origin}
}

func originWords(o gear.Origin) string {
	if o == gear.None {
		return "nobody says"
	}
	return o.String()
}

// Ages writes how old each cylinder's count is, in seconds: "0 1 1 -", or the oldest alone.
func Ages(s *misfire.Summary) (all, oldest string) {
	words := make([]string, len(s.Live.CountAge))
	most, never := time.Duration(-1), 0
	for i, age := range s.Live.CountAge {
		if age < 0 {
			words[i], never = "-", never+1
			continue
		}
		words[i], most = Seconds(age), max(most, age)
	}
	switch {
	case most < 0:
		return "no counts read yet", "no counts"
	case never > 0:
		oldest = fmt.Sprintf("counts to %s s old, %d never read", Seconds(most), never)
	default:
		oldest = "counts to " + Seconds(most) + " s old"
	}
	return "counts " + strings.Join(words, " ") + " s old", oldest
}

// Seconds writes a span in seconds, with one digit after the point below ten.
func Seconds(d time.Duration) string {
	if d < 9950*time.Millisecond {
		return strconv.FormatFloat(d.Seconds(), 'f', 1, 64)
	}
	return strconv.FormatFloat(d.Seconds(), 'f', 0, 64)
}

// LimitWords says where a limit is from.
func LimitWords(b misfire.Block) string {
	if b.Reported {
		return "the car's own limit"
	}
	return "a usual one, not the car's"
}

// IsOver reports whether the last whole block was over its limit.
func IsOver(b misfire.Block) bool { return b.Blocks > 0 && b.Last > b.Limit }

// PlainNumber is a number with at most three digits that say something, and no more of them than it needs.
func PlainNumber(v float64) string { return strconv.FormatFloat(v, 'g', 3, 64) }

// LeftOut says which running counts for no condition.
func LeftOut(s *misfire.Summary) []string {
	var lines []string
	if s.Unknown.Running > 0 || s.Unknown.Misses > 0 {
		lines = append(lines, Minutes(s.Unknown.Running)+" of running and "+plural(s.Unknown.Misses, "miss", "misses")+
			" could not be laid to any condition.")
	}
	if s.Unmonitored > 0 {
		lines = append(lines, Minutes(s.Unmonitored)+" of running in which the controller may not judge (fuel cut and the like) dilute no rate.")
	}
	return lines
}

// AverageWords says the car's own averages, if it has any.
func AverageWords(s *misfire.Summary) []string {
	if len(s.Averages) == 0 {
		return nil
	}
	words := make([]string, len(s.Averages))
	for i, a := range s.Averages {
		words[i] = strconv.Itoa(a.Cylinder) + "=" + Digits(a.Value)
	}
	return []string{"Misses a driving cycle, the car's own average of ten, by cylinder: " + strings.Join(words, ", ") + "."}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return say.Grouped(float64(n)) + " " + many
}

// Share writes a percentage, "-" before it is known.
func Share(v float64) string {
	if math.IsNaN(v) {
		return "-"
	}
	return Digits(v) + " %"
}
