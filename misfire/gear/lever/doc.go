// Package lever infers whether the box of a car loads its engine at rest, from engine speed, load and road speed alone.
//
// It works backwards as well as forwards. Ticks of 0.2 s are put together to rests; a rest holds the steps of its load.
// A bank of hypotheses says which kind of step is the lever and which an accessory; each is solved over all steps of
// the drive, and what they say together, weighed by how well each explains the drive, is the state of each stretch
// between two steps. So a later step, a stop or a mark may change what is said of the past: Revision tells when.
//
// The way: Tick -> follower (rests, steps) -> kinds -> hypotheses -> chain -> verdict of each stretch. Only steps and
// what anchors them are kept, of the last maxSteps steps.
//
// Rates, sizes and likelihoods were fitted to a torque balance of the idling engine, not to real cars. D and R are one
// here: the converter loads the engine alike in both. It is pure: time is in seconds, and comes with the ticks.
package lever
