package misfire

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
)

// The engine has cylinders 1 to 3 on bank 1 and 4 to 6 on bank 2 (testdata/vectors/engine-layouts.csv).
func TestBank(t *testing.T) {
	layout, err := engine.Find("v6-along-142536")
	require.NoError(t, err)
	plain, err := engine.Plain(6)
	require.NoError(t, err)
	for name, tt := range map[string]struct {
		engine  engine.Layout
		rates   []float64
		minutes int
		bank    int
		finding Finding
	}{
		"every cylinder of it":                {layout, []float64{0.0005, 0, 0, 0.03, 0.03, 0.03}, 8, 2, Named},
		"two of it, and no miss elsewhere":    {layout, []float64{0, 0, 0, 0.03, 0.03, 0}, 8, 2, Named},
		"two of it, and some misses off it":   {layout, []float64{0.0008, 0, 0, 0.03, 0.03, 0}, 8, 0, Named},
		"one of either":                       {layout, []float64{0, 0.03, 0, 0, 0.03, 0}, 8, 0, Named},
		"one of it":                           {layout, []float64{0, 0, 0, 0.03, 0, 0}, 8, 0, Named},
		"nobody told the banks":               {plain, []float64{0, 0, 0, 0.03, 0.03, 0.03}, 8, 0, Named},
		"too few on each, enough together":    {layout, []float64{0.003, 0.003, 0.003, 0, 0, 0}, 12, 1, BankMisses},
		"the same on both banks":              {layout, []float64{0.003, 0.003, 0.003, 0.003, 0.003, 0.003}, 8, 0, Spread},
		"a healthy engine, for hours":         {layout, []float64{0.0004, 0.0004, 0.0004, 0, 0, 0}, 120, 0, NoneStandsOut},
		"too few on each, the banks not told": {plain, []float64{0.003, 0.003, 0.003, 0, 0, 0}, 12, 0, NoneStandsOut},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMill(t, 200, tt.rates...)
			m.tally = NewTally(Config{Engine: tt.engine})
			m.mark(gear.Drive)
			m.run(time.Duration(tt.minutes) * time.Minute)
			m.tally.Finish()
			v := m.tally.Summary().Verdict
			assert.Equal(t, tt.bank, v.Bank, "named are %v", v.Named())
			assert.Equal(t, tt.finding, v.Finding)
			assert.Equal(t, tt.finding != NoneStandsOut, v.Accuses())
			assert.Equal(t, tt.finding == Spread, v.Random)
		})
	}
}

// How often chance makes a bank of an engine stand out whose cylinders all miss at the ceiling: the e-value's bound
// (Ville 1939) is 1 % over a whole drive. Of 60 drives at 1 % four and more have a chance of 0.3 % (binomial).
func TestBankByChance(t *testing.T) {
	layout, err := engine.Find("v6-along-142536")
	require.NoError(t, err)
	found := 0
	for seed := range uint64(60) {
		m := newMill(t, atOnce, 0.001, 0.001, 0.001, 0.001, 0.001, 0.001)
		m.rng = rand.New(rand.NewPCG(seed, 7))
		m.tally = NewTally(Config{Engine: layout})
		m.mark(gear.Drive)
		m.run(30 * time.Minute)
		m.tally.Finish()
		if m.tally.Summary().Verdict.Finding == BankMisses {
			found++
		}
	}
	assert.LessOrEqual(t, found, 3)
}
