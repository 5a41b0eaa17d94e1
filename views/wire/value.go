// Package wire is what the program prints as JSON: an object's type, and how a result becomes one. It is one dialect.
// Field names are lower case with underscores and are only ever added to. A number, time or text that is not known is
// null; a field that has no meaning where it stands is left out; a list is never null. Gear states are "P/N", "D", "R",
// "moving" and "?"; origins are "reported", "marked", "inferred" and "none". The first field of whatever is printed by
// itself is its kind. Words in an object are those of package say.
package wire

import (
	"encoding/json"
	"io"
	"math"
	"time"
)

// Number is a number that is null when it is not known or not finite.
type Number float64

// MarshalJSON writes the number or null.
func (n Number) MarshalJSON() ([]byte, error) {
	if v := float64(n); !math.IsNaN(v) && !math.IsInf(v, 0) {
		return json.Marshal(v)
	}
	return []byte("null"), nil
}

// UnmarshalJSON reads what MarshalJSON writes; null is no number.
func (n *Number) UnmarshalJSON(text []byte) error {
	if string(text) == "null" {
		*n = unknown()
		return nil
	}
	return json.Unmarshal(text, (*float64)(n))
}

// rounded is a number to four places after the point: what was worked out is not known any better.
func rounded(v float64) Number { return Number(math.Round(v*1e4)/1e4 + 0) }

// Stamp is a time as RFC 3339 has it, with milliseconds and in UTC; null for the zero time.
type Stamp time.Time

// stampForm is how a Stamp is written.
const stampForm = `"2006-01-02T15:04:05.000Z07:00"`

// MarshalJSON writes the time or null.
func (t Stamp) MarshalJSON() ([]byte, error) {
	if time.Time(t).IsZero() {
		return []byte("null"), nil
	}
	return []byte(time.Time(t).UTC().Format(stampForm)), nil
}

// UnmarshalJSON reads what MarshalJSON writes; null is the zero time.
func (t *Stamp) UnmarshalJSON(text []byte) error { return (*time.Time)(t).UnmarshalJSON(text) }

// Word is a text that is null when it is empty.
type Word string

// MarshalJSON writes the text or null.
func (w Word) MarshalJSON() ([]byte, error) {
	if w == "" {
		return []byte("null"), nil
	}
	return json.Marshal(string(w))
}

// WriteLine writes one object as one line.
func WriteLine(w io.Writer, object any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(object)
}

func unknown() Number { return Number(math.NaN()) }

// list is a list that is written as [] when it is empty.
func list[T any](values []T) []T {
	if values == nil {
		return []T{}
	}
	return values
}

// each maps a list; none becomes an empty list, which JSON shows as [].
func each[A, B any](list []A, f func(*A) B) []B {
	out := make([]B, len(list))
	for i := range list {
		out[i] = f(&list[i])
	}
	return out
}

func same[A any](a *A) A { return *a }

// numbered is a number of something saved; nil for nothing.
func numbered(id int64) *int64 {
	if id == 0 {
		return nil
	}
	return &id
}

// orUnknown is a number of which 0 says that it is not known.
func orUnknown(v float64) Number {
	if v == 0 {
		return unknown()
	}
	return rounded(v)
}
