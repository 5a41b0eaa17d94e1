// Package lab makes drives for tests: engines whose misses come in bursts of many kinds, controllers that show their
// counts in many ways, and the samples that an adapter would bring of them. It shares no code with the simulated adapter
// and car of package sim, so that what is true on one of them alone is found out: it knows no bytes, takes one firing at
// a time, and reads its counters at other phases. What really happened is in the Truth of a drive.
//
// Nothing here is of any car; it is for tests alone.
package lab
