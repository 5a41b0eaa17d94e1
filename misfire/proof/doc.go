// Package proof judges a repair: the drive before against the drive after, like with like, and part swaps.
//
// Running is like when it is in the same gear state, within 375 rpm and 20 points of calculated load of where
// the engine missed, and equally warm: the similar conditions of 13 CCR 1968.2 (c), from memory; load within
// 10 points where a stricter proof is wanted. Engine speed and load are those of the tally's cells, and a
// cell's are the means over its revolutions: a cell of the drive after is like a cell of the drive before when
// their means lie within the tolerance. Bands as wide as the tally's keep most of a cell's running near its
// mean, but not all.
//
// What is decided on are misses and firings of windows that lie within one condition ([misfire.Cell.Decides]);
// estimates of shared-out lumps decide nothing. How bursty the fault is, phi, is carried from the drive before,
// since a clean drive shows none of its own. The line a repair must cross may be watched all the while without
// becoming any easier to cross by chance ([rate.ProofLine]); so may the line on which the fault counts as still
// there.
//
// Measured with 500 simulated repairs a line, looked at every 200 revolutions: a car still missing at the rate to
// be beaten is called proven in 1.0 to 1.6 % (3.3 % where bursts last 300 firings), a healthy one still missing in
// at most 0.4 %, and no swap was read wrongly. Watched so, what is asked for is rather too much than too little.
//
// Everything here is a pure function of what it is given, but for [Cycles], which follows a stream of samples
// in constant memory.
package proof
