package cause

// somethingElse is the key of the cause that stands for all that the book does not hold.
const somethingElse = "other"

// What is not on the list shows each fact as often as the causes on it do together, a cause that is common being weighed
// more: so it is behind whatever fits one cause well, and ahead where the facts fit none of them all. anythingGoes is the
// share of it that may show any level; byTest that of what a test shows, which is a sound part but for that share.
const (
	anythingGoes = 0.15
	byTest       = 0.10
)

// addElse gives something else its rows, worked out from those of the causes.
func (b *Book) addElse() {
	for i := range b.features {
		f := &b.features[i]
		mean := b.meanOf(b.likelihoods[f.key], len(f.levels))
		for k := range mean {
			mean[k] = (1-anythingGoes)*mean[k] + anythingGoes/float64(len(mean))
		}
		b.likelihoods[f.key] = append(b.likelihoods[f.key], row{cause: somethingElse, levels: mean, source: "judgement",
			reason: "what is not on this list may show it as any cause may"})
	}
	for i := range b.tests {
		t := &b.tests[i]
		sound := best(b.outcomes[t.key], "*", IgnitionUnknown)
		mean := b.meanOf(b.outcomes[t.key], len(t.outcomes))
		for k := range mean {
			mean[k] = byTest*mean[k] + (1-byTest)*sound.levels[k]
		}
		b.outcomes[t.key] = append(b.outcomes[t.key], row{cause: somethingElse, levels: mean, reason: "what is not on this list leaves the part sound"})
	}
}

// meanOf is how often the causes show each level, all together.
func (b *Book) meanOf(rows []row, levels int) []float64 {
	mean, weight := make([]float64, levels), 0.0
	for i := range b.causes {
		c := &b.causes[i]
		if c.key == somethingElse {
			continue
		}
		own := best(rows, c.key, IgnitionUnknown)
		for k := range mean {
			mean[k] += c.prior * own.levels[k]
		}
		weight += c.prior
	}
	for k := range mean {
		mean[k] /= weight
	}
	return mean
}
