package cause

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The tables are whole: each cause has a row, its own or the one for all others, for every fact and every test.
func TestTables(t *testing.T) {
	b, err := readBook()
	require.NoError(t, err)
	for _, i := range [...]Ignition{IgnitionUnknown, CoilOnPlug, SharedCoils, Distributor} {
		for _, c := range b.causes {
			for _, f := range b.features {
				require.NotNil(t, best(b.likelihoods[f.key], c.key, i), "%s of %s", f.key, c.key)
			}
			for _, known := range b.tests {
				require.NotNil(t, best(b.outcomes[known.key], c.key, i), "%s of %s", known.key, c.key)
			}
		}
	}
	for key, rows := range b.likelihoods {
		seen := make(map[string]bool)
		for _, r := range rows {
			assert.False(t, seen[r.cause+"/"+r.ignition], "%s of %s stands twice", key, r.cause)
			seen[r.cause+"/"+r.ignition] = true
			assert.NotEmpty(t, r.reason, "%s of %s: say why", key, r.cause)
			assert.NotEmpty(t, r.source, "%s of %s: say whose rule it is", key, r.cause)
			if r.ignition != "" {
				_, err := ParseIgnition(r.ignition)
				assert.NoError(t, err)
			}
		}
	}
	for _, known := range b.tests {
		assert.Positive(t, known.minutes, known.key)
		for _, c := range known.cautions {
			assert.NotEmpty(t, b.cautions[c], "%s names a caution %q", known.key, c)
		}
	}
	assert.NotEmpty(t, b.cautions["always"])
	for _, c := range b.causes {
		assert.Positive(t, c.prior, c.key)
		assert.Contains(t, []string{"cylinder", "pair", "neighbours", "coil", "bank", "engine"}, c.where, c.key)
		assert.Contains(t, []string{"", "wires", "each", "shared", "banks"}, c.need, c.key)
	}
}

// No test advises to buy: the words of the trade for fitting new parts belong after a proof.
func TestNoPartBeforeATest(t *testing.T) {
	b := StandardBook()
	for _, known := range b.tests {
		for _, word := range []string{"replace", "buy", "renew"} {
			assert.NotContains(t, strings.ToLower(known.name+known.how+known.decides), word, known.key)
		}
	}
}

// Each cause has some test that would show it most of the time, but for what no single test names.
func TestEachCauseHasATest(t *testing.T) {
	b := StandardBook()
	for _, c := range b.causes {
		if c.key == "other" {
			continue
		}
		assert.True(t, slices.ContainsFunc(b.tests, func(known knownTest) bool {
			own := best(b.outcomes[known.key], c.key, IgnitionUnknown)
			others := best(b.outcomes[known.key], "*", IgnitionUnknown)
			return own.cause == c.key && slices.ContainsFunc(known.outcomes, func(o string) bool {
				i := slices.Index(known.outcomes, o)
				return own.levels[i] >= 0.6 && own.levels[i] > 5*others.levels[i]
			})
		}), "nothing shows %s", c.key)
	}
}

func TestParseIgnition(t *testing.T) {
	for _, i := range [...]Ignition{IgnitionUnknown, CoilOnPlug, SharedCoils, Distributor} {
		read, err := ParseIgnition(i.Key())
		require.NoError(t, err)
		assert.Equal(t, i, read)
	}
	_, err := ParseIgnition("both")
	assert.ErrorContains(t, err, "say each (a coil on every plug), shared (one coil to two plugs) or distributor")
}

// A table that is not whole is refused, and the place is named.
func TestBadRows(t *testing.T) {
	b := StandardBook()
	levels := []string{"few", "many"}
	for text, says := range map[string]string{
		"few:0.5 many:0.6":           "sums to",
		"few:0.5":                    "not one number for each",
		"many:0.5 few:0.5":           "no share",
		"few:1 many:0":               "no share",
		"few:x many:0.5":             "no share",
		"few:-0.5 many:1.5":          "no share",
		"few:0.5 many:0.3 lots:0.20": "not one number for each",
	} {
		_, err := b.row(record{"cause": "plug", "likelihoods": text}, levels)
		assert.ErrorContains(t, err, says, text)
	}
	_, err := b.row(record{"cause": "gremlin", "likelihoods": "few:0.5 many:0.5"}, levels)
	assert.ErrorContains(t, err, "gremlin")
	good, err := b.row(record{"cause": "plug", "likelihoods": "few:0.25 many:0.75"}, levels)
	require.NoError(t, err)
	assert.Equal(t, 1, good.likeliest())
}
