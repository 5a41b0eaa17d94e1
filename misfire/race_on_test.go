//go:build race

package misfire_test

// underRace tells that the race detector slows everything down some ten times.
const underRace = true
