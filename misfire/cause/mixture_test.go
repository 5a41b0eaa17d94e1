package cause

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/engine"
)

// limits are the rows of the trade's table that speak of fuel trim; each names its source.
func limits(t *testing.T, name string) (low, high float64) {
	t.Helper()
	file, err := os.Open("../../testdata/vectors/trade-checks.csv")
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	for _, r := range rows {
		if r[0] == name {
			low, errLow := strconv.ParseFloat(r[3], 64)
			high, errHigh := strconv.ParseFloat(r[4], 64)
			require.NoError(t, errLow)
			require.NoError(t, errHigh)
			return low, high
		}
	}
	t.Fatalf("no rule is called %q", name)
	return 0, 0
}

func layout(t *testing.T, key string) engine.Layout {
	t.Helper()
	l, err := engine.Find(key)
	require.NoError(t, err)
	return l
}

// facts gathers what is put, by feature.
type facts map[string]Fact

func (f facts) put(feature string, weights []float64, found Telling) {
	if weights != nil {
		f[feature] = Fact{Feature: feature, Weights: weights, Found: found}
	}
}

// leaning is an engine whose trim is the same wherever it runs.
func leaning(t *testing.T, key string, bank1, bank2 float64) Evidence {
	e := Evidence{Engine: layout(t, key), Cylinders: make([]Cylinder, layout(t, key).Cylinders)}
	for p := range TrimPlaces {
		e.Trims[0][p] = Trim{bank1, 50}
		if len(e.Engine.Banks) == 2 {
			e.Trims[1][p] = Trim{bank2, 50}
		}
	}
	return e
}

// Below, at and above each limit of the trade: within it the milder level is the likelier, at it both are alike, beyond
// it the other.
func TestTrimRules(t *testing.T) {
	normalLow, normalHigh := limits(t, "fuel trim, normal")
	_, suspect := limits(t, "fuel trim, suspect")
	_, apart := limits(t, "fuel trim, banks apart")
	const rich, normal, raised, lean = 0, 1, 2, 3
	step := 1.0
	for _, c := range []struct {
		name         string
		limit, sign  float64
		inner, outer int
	}{
		{"normal, lean side", normalHigh, 1, normal, raised},
		{"normal, rich side", normalLow, -1, normal, rich},
		{"suspect", suspect, 1, raised, lean},
	} {
		t.Run(c.name, func(t *testing.T) {
			level := func(trim float64) []float64 {
				e, found := leaning(t, "i4-1342", trim, 0), facts{}
				e.mixture(&scope{kind: scopeAll, bank: 1}, found.put)
				return found["trim_level"].Weights
			}
			below, at, above := level(c.limit-c.sign*step), level(c.limit), level(c.limit+c.sign*step)
			assert.Greater(t, below[c.inner], below[c.outer])
			assert.InDelta(t, at[c.inner], at[c.outer], 0.02)
			assert.Less(t, above[c.inner], above[c.outer])
		})
	}
	t.Run("banks apart", func(t *testing.T) {
		share := func(difference float64) float64 {
			e, found := leaning(t, "v6-along-142536", 0, difference), facts{}
			e.mixture(&scope{kind: scopeBank, bank: 2}, found.put)
			return found["trim_banks"].Weights[0]
		}
		assert.Less(t, share(apart-step), 0.5)
		assert.InDelta(t, 0.5, share(apart), 0.01)
		assert.Greater(t, share(apart+step), 0.5)
		assert.InDelta(t, share(apart+step), share(-apart-step), 1e-9, "whichever bank it is")
	})
}

// The shape of the trim: plus at idle and near zero at 2500 rpm is air, near zero at idle and plus under load is fuel.
func TestTrimShape(t *testing.T) {
	shape := func(idle, load float64) []float64 {
		e, found := leaning(t, "i4-1342", load, 0), facts{}
		e.Trims[0][TrimIdle].Mean = idle
		e.mixture(&scope{kind: scopeAll, bank: 1}, found.put)
		return found["trim_shape"].Weights
	}
	assert.Greater(t, shape(16, 2)[0], 0.95)
	assert.Greater(t, shape(2, 16)[2], 0.95)
	assert.Greater(t, shape(3, 3)[1], 0.95)
}

// One cylinder of a bank of four that is 24 % lean shows as 6 %: worked back, and against the other bank where there is
// one.
func TestOwnMixture(t *testing.T) {
	own := func(key string, cylinder int, bank1, bank2 float64) Fact {
		e, found := leaning(t, key, bank1, bank2), facts{}
		s := scope{kind: scopeOne, cylinders: []int{cylinder}}
		s.bank = e.bankOf(s.cylinders)
		e.mixture(&s, found.put)
		return found["trim_own"]
	}
	six := own("i4-1342", 2, 6, 0)
	assert.InDelta(t, 24, six.Found.Own, 0.5)
	assert.Greater(t, six.Weights[2], 0.9)
	both := own("v6-along-142536", 2, 8, 8)
	assert.Greater(t, both.Weights[1], 0.9, "both banks alike: no cylinder's own")
	mine := own("v6-along-142536", 2, 8, 0)
	assert.Greater(t, mine.Weights[2], 0.9)
	rich := own("v6-along-142536", 5, 0, -8)
	assert.Greater(t, rich.Weights[0], 0.9)
}

// Each charge that does not burn reads as if fuel were wanting. A bank that misses much is not looked at; one that misses
// little has what the misses add taken off.
func TestTrimTrap(t *testing.T) {
	e := leaning(t, "i4-1342", 25, 0)
	missing := func(share float64) {
		for i := range e.Cylinders {
			for p := range Places {
				e.Cylinders[i].At[p][1] = Count{Firings: 1000}
			}
		}
		for p := range Places {
			e.Cylinders[1].At[p][1].Misses = 4000 * share // of one cylinder, a share of the bank's firings
		}
	}
	s := scope{kind: scopeOne, cylinders: []int{2}, bank: 1, named: true}
	missing(0.25)
	found := facts{}
	e.mixture(&s, found.put)
	assert.Empty(t, found, "a dead cylinder: nothing can be said of the mixture")
	assert.Contains(t, e.notes(StandardBook(), &s, FromCounts), Note{Kind: TrimsLeftOut})

	// Beyond it a trim is believed only if it lies beyond all that its misses can add, or is rich in spite of them.
	beyond := adds(trap+0.001) + trimSuspect
	for _, c := range []struct {
		share, trim float64
		trusted     bool
	}{{trap - 0.001, 6, true}, {trap + 0.001, 6, false}, {trap + 0.001, beyond - 0.1, false}, {trap + 0.001, beyond + 0.1, true},
		{trap + 0.001, -trimNormal - 0.1, true}, {trap + 0.001, -trimNormal + 0.1, false}} {
		share, trusted := c.share, c.trusted
		e.Trims[0][TrimIdle].Mean = c.trim
		missing(share)
		_, ok := e.trusted(1, TrimIdle)
		assert.Equal(t, trusted, ok, "%v of the bank's firings", share)
	}
	missing(0.01)
	e.Trims[0][TrimIdle].Mean = 25
	percent, ok := e.trusted(1, TrimIdle)
	require.True(t, ok)
	assert.InDelta(t, 25-100.0/99, percent, 1e-9, "one charge in a hundred leaves a hundredth of the air, made up for by the other 99")

	// Where the cylinder does not miss the trim is believed though it misses elsewhere.
	e.Cylinders[1].At[Cruise][1].Misses = 0
	e.Trims[0][TrimCruise].Mean, e.Trims[0][TrimIdle].Mean = 1, 20
	missingAtIdle := e
	missingAtIdle.Cylinders[1].At[IdleGear][1].Misses = 1000
	found = facts{}
	missingAtIdle.Trims[0][TrimRaised], missingAtIdle.Trims[0][TrimPull] = Trim{}, Trim{}
	missingAtIdle.mixture(&s, found.put)
	assert.InDelta(t, 1, found["trim_own"].Found.Trim, 1e-9)
}

// Trims of an engine whose banks are not told: both are looked at, and neither cylinder is laid to one.
func TestBanksNotTold(t *testing.T) {
	e := leaning(t, "i4-1342", 3, 0)
	e.Engine = engine.Layout{Cylinders: 4}
	assert.Equal(t, 1, e.bankOf([]int{3}), "one trim: one bank")
	assert.Equal(t, 4, e.perBank(1))
	e.Trims[1][TrimIdle] = Trim{14, 20}
	assert.Zero(t, e.bankOf([]int{3}), "two trims, and who knows on which bank cylinder 3 stands")
	assert.Equal(t, [][]int{{1, 3}, {2, 4}, {1, 2}, {3, 4}}, e.banks())
	found := facts{}
	e.mixture(&scope{kind: scopeOne, cylinders: []int{3}}, found.put)
	assert.Empty(t, found)
	e.mixture(&scope{kind: scopeAll}, found.put)
	assert.Greater(t, found["trim_level"].Weights[3], 0.9)
	assert.False(t, math.IsNaN(found["trim_banks"].Weights[0]))
}
