// Package misfire tallies the misses that a car counts against the running they happened in. Samples go in,
// in order of time; a Summary comes out whenever one is wanted. It is pure: no clock, no port, no screen, so
// that a drive looked at tomorrow gives today's numbers.
//
// The way of a sample:
//
//	exposure   engine speed over time becomes crank revolutions, each with its condition
//	monitored  and is told apart by whether the controller may judge misfire there
//	queue      everything waits a moment: some of what happens is plain only later
//	counter    a reading of a counter becomes a rise, or the start of a new driving cycle
//	cadence    the rises show how the controller refreshes its counters
//	ledger     revolutions and rises are cut into windows at the refreshes
//	relay      windows are laid to the gears as they are judged now, and for good once that is settled
//	accounts   windows are added up by condition, gear state and cylinder (breakdown, mixture)
//	standstill a counter that stands still is found out; trend: a rate that worsens
//	apportion  what came in one lump over several conditions is shared out
//	verdict    the sums become rates with limits, and a sentence
//
// Methods and their sources are with the functions of package rate.
package misfire
