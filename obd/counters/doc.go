// Package counters reads a table of the user's own that tells where a maker keeps misfire counts, from the service
// information of a car that tells none in the standard way, and decodes what the car answers by it. It is pure.
//
// The table is CSV with a header row. Lines that begin with # are passed over.
//
//	cylinder  1 to 16
//	request   what to send, in hexadecimal, at most seven bytes: service 21 or 22 with its identifier, as 21 30; or of
//	          service 06 before CAN the test and its component, as 06 53 02, of which the component picks the answer
//	header    whom to ask, three or six hexadecimal digits; empty: all modules
//	bytes     which data bytes of the answer, counted from 1 behind what it repeats of the request: 3 or 1-2
//	signed    yes or no; empty: no
//	factor    what a raw step is worth; empty: 1
//	kind      cycle (this driving cycle), clear (since the codes were cleared), revolutions (the last 200 turns of the
//	          crank), percent (of the cylinder's firings in those turns); empty: cycle
//	wrap      raw number at which the counter begins again at 0; empty: it does not
package counters

import "stumble/obd"

// Kind is what a maker's count counts.
type Kind uint8

// The kinds.
const (
	Cycle       Kind = iota // misses in this driving cycle
	Clear                   // misses since the codes were cleared
	Revolutions             // misses in the last 200 turns of the crank
	Percent                 // of the cylinder's firings in the last 200 turns
)

// kinds are the words of the table, by Kind.
var kinds = [...]string{"cycle", "clear", "revolutions", "percent"} // never written to

// String is the word of the table.
func (k Kind) String() string { return kinds[k] }

// Adds reports whether misses are added up in it; otherwise it tells those of the last block of turns alone.
func (k Kind) Adds() bool { return k == Cycle || k == Clear }

// Counter is one cylinder's count.
type Counter struct {
	Cylinder  int
	Request   obd.Request // as it is sent
	Component int         // of service 06, which answer is meant; -1 for another service
	Header    string      // whom to ask, in upper case; empty: all modules
	From, To  int         // data bytes of the answer, from 1
	Signed    bool
	Factor    float64
	Kind      Kind
	Wrap      float64 // raw number at which it begins again at 0; 0: it does not
}

// Table is the counts of a car, in order of cylinder. All are of one kind.
type Table []Counter

// Requests are those that the table sends, each once.
func (t Table) Requests() (out []obd.Request) {
	seen := map[obd.Request]bool{}
	for i := range t {
		if r := t[i].Request; !seen[r] {
			seen[r] = true
			out = append(out, r)
		}
	}
	return out
}

// Wraps is at which value each counter begins again at 0, cylinder 1 first; 0: it does not.
func (t Table) Wraps() (out [16]float64) {
	for i := range t {
		out[t[i].Cylinder-1] = t[i].Wrap * t[i].Factor
	}
	return out
}
