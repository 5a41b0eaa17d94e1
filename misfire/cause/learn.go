package cause

import (
	"cmp"
	"slices"
)

// tableWorth is how many cases of known cause the priors of the table are worth: as many as a shop sees before its own
// cars tell more than the trade's judgement. Judgement.
const tableWorth = 50

// Moved is a prior that cases of known cause moved.
type Moved struct {
	Key, Name string
	From, To  float64 // shares of all cases
	Cases     int     // of that cause
}

// Learn returns a book whose priors were moved by how many cases of known cause there were of each, and which moved,
// the most first. The shares of the causes are taken to be Dirichlet's: the table is worth so many cases, and each case
// adds one to its cause. Causes that the book does not hold are left out. The book itself stays as it is.
func (b *Book) Learn(cases map[string]int) (*Book, []Moved) {
	out := *b
	out.causes = slices.Clone(b.causes)
	all, n := 0.0, 0
	for i := range out.causes {
		all += out.causes[i].prior
		n += cases[out.causes[i].key]
	}
	var moved []Moved
	for i := range out.causes {
		c := &out.causes[i]
		from := c.prior / all
		c.prior = (tableWorth*from + float64(cases[c.key])) / (tableWorth + float64(n))
		if n > 0 {
			moved = append(moved, Moved{c.key, c.name, from, c.prior, cases[c.key]})
		}
	}
	slices.SortStableFunc(moved, func(x, y Moved) int { return cmp.Compare(max(y.To-y.From, y.From-y.To), max(x.To-x.From, x.From-x.To)) })
	return &out, moved
}

// Has reports whether the book ranks a cause of that key.
func (b *Book) Has(key string) bool { return b.cause(key) != nil }

// Keys are the keys of the causes that the book ranks.
func (b *Book) Keys() (keys []string) {
	for i := range b.causes {
		keys = append(keys, b.causes[i].key)
	}
	return keys
}
