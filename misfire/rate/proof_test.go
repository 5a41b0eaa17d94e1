package rate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Looking again and again must not prove what is not so: a cylinder that still misses at the least rate, looked at each 100
// firings for as long as it takes to expect 60 misses, is proven cured at most 5 % of the time (Ville 1939), give or take the
// simulation's error.
func TestLookingAgainProvesNothingFalse(t *testing.T) {
	const least = 0.003
	start, each := ProofLine()
	rng := seeded(40)
	runs := many(10_000)
	var wrong float64
	for range runs {
		var c Count
		for c.Firings*least < 60 {
			c = c.plus(Count{poissonDraw(rng, 100*least), 100})
			if c.Firings*least >= start+each*c.Misses {
				wrong++
				break
			}
		}
	}
	wrong /= float64(runs)
	t.Logf("false proof in %.2f %%", 100*wrong)
	require.LessOrEqual(t, wrong, 0.055)
	require.Greater(t, wrong, 0.03, "a line that is never crossed wrongly asks for too much running")
}
