// Package guide leads people through a test while a drive runs: what is asked of driver and helper now, whether it has
// been done, what is wrong, and when it is enough. One Runner holds the dialogue; two plans say what is asked:
//
//   - LoadTest brings the car into one condition after the other. A step is long enough when the counters of this car were
//     refreshed five times in it, and when a fault of the rate seen elsewhere would have shown at least once, but for one
//     time in twenty. Time out of the condition counts for neither.
//   - BalanceTest has one injector after the other unplugged for a few seconds at warm idle: the cylinder whose cut slows
//     the engine least gives little work. Idle control fights the fall and wins within seconds, so the first seconds
//     without the cylinder are measured against the first with it again. How far such a difference goes by itself is
//     measured on the idle in which nothing was cut. Falls are compared with their median, never with a fixed number.
//
// What is told are kinds with numbers. The package has no clock, screen or port: whoever runs it gives it the time, the
// samples, what the tally has seen, and what somebody confirmed.
package guide
