// Package rate holds the exact statistics of misses: how often a cylinder
// misses and how sure that is, whether two rates differ, whether a repair is
// proven, whether things get worse, and how much more running would tell.
//
// The stance behind it: misses are rare, come in bursts, arrive in lumps when
// the engine controller refreshes its counter, and cannot outnumber firings.
// So every limit is exact for counts (no normal approximation, no constant
// added at zero), every count is divided by a measured dispersion phi first
// ("effective" counts), and nothing is called proven because too little was
// seen.
//
// Throughout, misses and firings are real numbers: firings are half the
// integral of revolutions, and misses may be an estimate (a shared-out lump).
// Rates are fractions of firings, except in [Estimate], which speaks per 1,000
// firings as the screen does. Limits are 95 % limits.
//
// All functions are pure and safe to call from anywhere; the accumulating
// types ([Ladder], [PauseTally], [Lumps]) belong to one goroutine.
//
// Input that cannot be (NaN, infinite or negative counts, firings of zero)
// never panics: counts are read as the nearest possible one (NaN and negatives
// as 0, phi below 1 as 1), and what then cannot be known comes back as NaN.
package rate
