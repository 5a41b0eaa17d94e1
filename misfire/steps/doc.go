// Package steps leads driver and helper through a load test: which condition to bring the car into, whether it
// is there, and when it has run there for long enough. It has no clock, screen or port: whoever runs it gives it
// the time and what the tally has seen.
//
// A step is long enough when the counters of this car were refreshed five times in it, and when a fault of the
// rate seen elsewhere would have shown at least once, but for one time in twenty. Time out of the condition
// counts for neither.
package steps
