//go:build !race

package misfire_test

const underRace = false
