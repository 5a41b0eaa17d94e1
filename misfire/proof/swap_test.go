package proof_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
)

func TestParseSwap(t *testing.T) {
	s, err := proof.ParseSwap(" Coil : 2 - 3 ")
	require.NoError(t, err)
	require.Equal(t, proof.Swap{Part: "coil", A: 2, B: 3}, s)
	require.Equal(t, "coil:2-3", s.String())
	for text, want := range map[string]string{
		"":          `"" is no swap: write the part and both cylinders, as in coil:2-3`,
		"coil":      `"coil" is no swap: write the part and both cylinders, as in coil:2-3`,
		"coil:2":    `"coil:2" is no swap: write the part and both cylinders, as in coil:2-3`,
		"coil:0-1":  `"coil:0-1" is no swap: write the part and both cylinders, as in coil:2-3`,
		"coil:2-x":  `"coil:2-x" is no swap: write the part and both cylinders, as in coil:2-3`,
		"wheel:2-3": `"wheel" cannot be swapped: choose one of coil, wire, plug, injector`,
		"plug:2-2":  `"plug:2-2" names cylinder 2 twice: name the two that changed parts`,
	} {
		_, err := proof.ParseSwap(text)
		require.EqualError(t, err, want)
	}
}

// both is cylinders 2 and 3 at idle in Drive.
func both(t *testing.T, on2, on3, firings float64) *misfire.Summary {
	three := idle(on3, firings, 1)
	three.cylinder = 3
	return summary(t, idle(on2, firings, 1), three)
}

// The four readings of a swap (common practice, no source), and the fifth: too little running.
func TestSwapReadings(t *testing.T) {
	before := both(t, 60, 0, 2000)
	for _, c := range []struct {
		after *misfire.Summary
		want  proof.SwapVerdict
		token string
	}{
		{both(t, 0, 60, 2000), proof.FollowedPart, "followed"},
		{both(t, 60, 0, 2000), proof.StayedPut, "stayed"},
		{both(t, 60, 60, 2000), proof.BothMiss, "both"},
		{both(t, 0, 0, 2000), proof.NeitherMisses, "neither"},
		{both(t, 0, 2, 100), proof.CannotTell, "cannot_tell"},
	} {
		for _, swap := range []proof.Swap{{Part: "coil", A: 2, B: 3}, {Part: "coil", A: 3, B: 2}} {
			r, err := proof.CompareSwap(proof.Input{Before: sideOf(before), After: sideOf(c.after)}, swap)
			require.NoError(t, err)
			require.Equal(t, c.want, r.Verdict)
			require.Equal(t, 2, r.From)
			token, err := r.Verdict.MarshalText()
			require.NoError(t, err)
			require.Equal(t, c.token, string(token))
			if c.want == proof.CannotTell {
				require.Positive(t, r.Needed[0].Minutes)
				require.Equal(t, gear.Drive, r.Needed[0].Gear)
				require.Greater(t, r.Odds, 1.0, "what there is speaks for the part")
			} else {
				require.GreaterOrEqual(t, r.Odds, 99.0)
			}
		}
	}
}

func TestSwapCannotBeRead(t *testing.T) {
	before, clean, twice := both(t, 60, 0, 2000), both(t, 0, 0, 2000), both(t, 60, 60, 2000)
	for want, c := range map[string]struct {
		before *misfire.Summary
		swap   proof.Swap
	}{
		"coil:2-7 names cylinder 7, the engine has 4: name two of its cylinders":                    {before, proof.Swap{Part: "coil", A: 2, B: 7}},
		"neither cylinder 2 nor 3 misses beyond doubt in the drive before: a swap can tell nothing": {clean, proof.Swap{Part: "coil", A: 2, B: 3}},
		"cylinders 2 and 3 both miss in the drive before: swap with one that is clean":              {twice, proof.Swap{Part: "coil", A: 2, B: 3}},
	} {
		_, err := proof.CompareSwap(proof.Input{Before: sideOf(c.before), After: sideOf(clean)}, c.swap)
		require.EqualError(t, err, want)
	}
	slight := summary(t, idle(8, 2000, 1)) // 1.7 of 1,000 at least: not twice a healthy rate
	r, err := proof.CompareSwap(proof.Input{Before: sideOf(slight), After: sideOf(clean)}, proof.Swap{Part: "coil", A: 1, B: 2})
	require.NoError(t, err)
	require.Equal(t, proof.CannotTell, r.Verdict)
	require.Empty(t, r.Needed, "it missed too briefly or too seldom to tell by")
}

// Cylinders 2 and 3 of an inline four are companions (firing order 1-3-4-2): with a shared coil nothing moved.
func TestSwapOfASharedCoilWarns(t *testing.T) {
	in := proof.Input{Before: sideOf(both(t, 60, 0, 2000)), After: sideOf(both(t, 60, 0, 2000))}
	r, err := proof.CompareSwap(in, proof.Swap{Part: "coil", A: 2, B: 3})
	require.NoError(t, err)
	require.True(t, r.MayShareCoil)
	r, err = proof.CompareSwap(in, proof.Swap{Part: "wire", A: 2, B: 3})
	require.NoError(t, err)
	require.False(t, r.MayShareCoil)
}

// A swap is read at odds of 100 to 1 of both cylinders, 4.605 as a logarithm, and not before: wrong at most once in 100
// (Wald 1947).
func TestSwapIsReadAtAHundredToOne(t *testing.T) {
	before := both(t, 60, 0, 2000)
	met := map[proof.SwapVerdict]bool{}
	nearly := false
	for n := 20.0; n <= 600; n += 10 {
		r, err := proof.CompareSwap(proof.Input{Before: sideOf(before), After: sideOf(both(t, 0, math.Round(0.03*n), n))}, proof.Swap{Part: "coil", A: 2, B: 3})
		require.NoError(t, err)
		weaker := math.Min(r.FromCured, r.ToMissing)
		require.Equal(t, weaker >= 4.60517, r.Verdict == proof.FollowedPart, "%v: %v, %v", n, r.FromCured, r.ToMissing)
		met[r.Verdict] = true
		nearly = nearly || weaker > 2.4 && weaker < 4.6
	}
	require.True(t, met[proof.FollowedPart] && met[proof.CannotTell] && nearly, "%v", met)
}
