package say

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"stumble/misfire/gear"
	"stumble/misfire/rate"
	"stumble/views/say/catalogue"
)

// Words tell results in one language.
type Words struct {
	*catalogue.Catalogue
}

// English is the words that are always there.
func English() Words { return Words{catalogue.English()} }

// tell is a message about some things; see [catalogue.Catalogue.Tell].
func (w Words) tell(key catalogue.Key, about ...any) string { return w.Tell(key, about...) }

// count is a message about a whole number of things, written with its thousands parted; the number itself is {1}.
func (w Words) count(key catalogue.Key, n float64, more ...any) string {
	return w.Count(key, n, append([]any{Grouped(n)}, more...)...)
}

// Grouped writes a whole number with its thousands parted: "38,412"; "-" for no number.
func Grouped(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "-"
	}
	s := strconv.FormatFloat(math.Abs(math.Round(v)), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if math.Round(v) < 0 {
		return "-" + s
	}
	return s
}

// Plural writes how many of a thing there are: "1 miss", "1,200 misses". It is for pages that no catalogue has yet.
func Plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return Grouped(float64(n)) + " " + many
}

// Rate writes a rate per 1,000 firings with as many digits as one reads at a glance: "none", "fewer than 0.1", "2.5",
// "31".
func (w Words) Rate(perThousand float64) string {
	switch {
	case math.IsNaN(perThousand):
		return w.tell("rate-unknown")
	case perThousand == 0:
		return w.tell("word-none")
	case perThousand < 0.05:
		return w.tell("rate-tiny")
	}
	return figure(perThousand)
}

// figure writes a number with one digit behind the point below ten, none above.
func figure(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v < 9.95:
		return strconv.FormatFloat(v, 'f', 1, 64)
	}
	return strconv.FormatFloat(v, 'f', 0, 64)
}

// inGear are the keys of the gear states within a sentence.
var inGear = [gear.States]catalogue.Key{
	gear.Unknown: "in-unknown", gear.ParkNeutral: "in-park", gear.Drive: "in-drive", gear.Reverse: "in-reverse",
	gear.InGear: "in-gear", gear.Moving: "in-moving",
}

// InGear names a gear state within a sentence: "in Drive", "in gear (inferred)".
func (w Words) InGear(g gear.State) string {
	if int(g) >= gear.States {
		g = gear.Unknown
	}
	return w.tell(inGear[g])
}

// List joins things as a sentence does: "a, b and c".
func (w Words) List(things []string) string {
	last := len(things) - 1
	if last < 1 {
		return strings.Join(things, "")
	}
	return w.tell("join-and", w.Commas(things[:last]), things[last])
}

// Commas joins things as an enumeration does: "a, b, c".
func (w Words) Commas(things []string) string {
	if len(things) == 0 {
		return ""
	}
	joined := things[0]
	for _, t := range things[1:] {
		joined = w.tell("join-comma", joined, t)
	}
	return joined
}

// Numbers lists numbers: "2", "2 and 3", "1, 2 and 3".
func (w Words) Numbers(list []int) string {
	words := make([]string, len(list))
	for i, n := range list {
		words[i] = strconv.Itoa(n)
	}
	return w.List(words)
}

// Cylinders names cylinders: "cylinder 2", "cylinders 2 and 3".
func (w Words) Cylinders(list []int) string {
	return w.Count("cylinder-names", float64(len(list)), w.Numbers(list))
}

// limited is a rate with its limits: "31 of 1,000 firings (21 to 44)".
func (w Words) limited(e rate.Estimate) string {
	switch {
	case !e.Known():
		return w.tell("word-not-driven")
	case e.AtLeast || math.IsInf(e.High, 1):
		return w.tell("rate-at-least", figure(e.Low))
	}
	return w.tell("rate-limited", figure(e.Rate), figure(e.Low), figure(e.High))
}

// Into is a time into a drive, as 02:10; hours go on as minutes.
func Into(d time.Duration) string {
	s := int(d / time.Second)
	return fmt.Sprintf("%02d:%02d", s/60, s%60)
}

// Capital is a text with a capital first letter.
func Capital(s string) string { return first(s, unicode.ToUpper) }

// lower is a text with a small first letter.
func lower(s string) string { return first(s, unicode.ToLower) }

func first(s string, change func(rune) rune) string {
	r, size := utf8.DecodeRuneInString(s)
	if size == 0 {
		return s
	}
	return string(change(r)) + s[size:]
}
