package lab

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Every family misses as often as it is asked to, over a long time: the truth that limits are held against is p.
func TestFamiliesKeepTheirMean(t *testing.T) {
	const p, firings, drives = 0.01, 40000, 60
	for _, f := range append(Families(), Others()...) {
		misses := 0.0
		for seed := range drives {
			process := f.New(rand.New(rand.NewPCG(uint64(seed), 3)))
			for i := range firings {
				if process.Miss(p, float64(i)/6.25) {
					misses++
				}
			}
		}
		assert.InEpsilon(t, p, misses/(firings*drives), 0.15, f.Name)
	}
}
