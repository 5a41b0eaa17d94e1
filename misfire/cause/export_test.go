package cause

import "slices"

// WithPrior is the book with one prior some times as high.
func (b *Book) WithPrior(key string, by float64) *Book {
	out := *b
	out.causes = slices.Clone(b.causes)
	out.cause(key).prior *= by
	return &out
}
