// Package cause reasons from what was seen of a misfire to what may be behind it, and to the test that tells most.
//
// Evidence holds what is known: counts of each cylinder by the place they came from (idle, in gear, under load, cold
// or warm), fuel trims, codes, freeze frame, readings of the bench and tests already made. Gather makes it of summaries
// of drives, an intake and the rest. A Book explains it:
//
//  1. facts: the evidence is put as a few plain facts (features.csv), each with the probability of its levels, so that
//     little running makes a fact flat instead of wrong. Facts of one group are witnesses of the same thing: only the
//     first that is known is weighed.
//  2. Bayes: prior of each cause (causes.csv) times how often that cause shows each fact (likelihoods.csv), made to sum
//     to 1. Codes (codes.csv) and what the driver reports (told.csv) say whom they speak for and how strongly. Causes
//     that the ignition or the block rules out drop out first. What fits none of them well, or is spoken for and not in
//     the table (elses.csv), is something else.
//  3. next test: of the tests not yet made (tests.csv), the one whose outcomes (outcomes.csv) are expected to take away
//     most doubt, Shannon's entropy in bits, for its minutes and materials.
//
// The figures of the tables are judgement in round numbers; each stands on a rule of the trade that is told beside it.
// A share is therefore a way to rank what to test, not a measured probability. Nothing here advises to buy a part: a
// cause is proven by its test. The package is pure: it knows no clock, screen or file.
package cause
