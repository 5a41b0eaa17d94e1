package misfire

import (
	"fmt"

	"stumble/misfire/gear"
)

// Condition is the running that a miss belongs to: one cell of the tally. It is a comparable value.
type Condition struct {
	Gear gear.State
	Load LoadBand
	RPM  RPMBand
	Warm bool // coolant at or above track.WarmAt; unknown coolant counts as cold
}

// The bands of load and engine speed, in this one place. Load is the calculated load value of PID 04. A
// value belongs to the band whose lower edge it reaches; to keep a reading that hovers about an edge from
// changing the band at every sample, a band is left only once the value is past the edge by the slack.
var (
	loadEdges = [...]float64{10, 20, 30, 40, 50, 60, 70, 80, 90} // percent
	rpmEdges  = [...]float64{1000, 1500, 2000, 3000}             // revolutions a minute
	loadNames = [...]string{"0-10 %", "10-20 %", "20-30 %", "30-40 %", "40-50 %", "50-60 %", "60-70 %", "70-80 %", "80-90 %", "90-100 %"}
	rpmNames  = [...]string{"under 1000 rpm", "1000-1500 rpm", "1500-2000 rpm", "2000-3000 rpm", "over 3000 rpm"}
)

const (
	loadSlack = 2.0  // percent
	rpmSlack  = 50.0 // revolutions a minute
)

// LoadBand is a band of calculated load, counted from 0.
type LoadBand uint8

// RPMBand is a band of engine speed, counted from 0.
type RPMBand uint8

// LoadBands and RPMBands are how many bands there are.
const (
	LoadBands = len(loadNames)
	RPMBands  = len(rpmNames)
)

func (b LoadBand) String() string {
	if int(b) < len(loadNames) {
		return loadNames[b]
	}
	return "?"
}

func (b RPMBand) String() string {
	if int(b) < len(rpmNames) {
		return rpmNames[b]
	}
	return "?"
}

// From is the least load of the band, in percent.
func (b LoadBand) From() float64 {
	if b == 0 || int(b) > len(loadEdges) {
		return 0
	}
	return loadEdges[b-1]
}

// BandOfLoad is the band of a load in percent, without slack.
func BandOfLoad(percent float64) LoadBand { return LoadBand(band(loadEdges[:], percent)) }

// BandOfRPM is the band of an engine speed, without slack.
func BandOfRPM(rpm float64) RPMBand { return RPMBand(band(rpmEdges[:], rpm)) }

func band(edges []float64, v float64) int {
	b := 0
	for b < len(edges) && v >= edges[b] {
		b++
	}
	return b
}

// stay is the band of v when the last one was old: the old one, unless v is clear of it.
func stay(edges []float64, slack float64, old int, v float64) int {
	low, high := band(edges, v-slack), band(edges, v+slack)
	return min(max(old, low), high)
}

// String is the condition in words: "D, 20-30 %, under 1000 rpm, warm".
func (c Condition) String() string {
	warm := "cold"
	if c.Warm {
		warm = "warm"
	}
	return fmt.Sprintf("%s, %s, %s, %s", c.Gear, c.Load, c.RPM, warm)
}

// conditionIndex numbers the conditions, so that they can index an array.
type conditionIndex uint16

const (
	gearStates = gear.States
	conditions = gearStates * LoadBands * RPMBands * 2
)

func (c Condition) index() conditionIndex {
	warm := 0
	if c.Warm {
		warm = 1
	}
	return conditionIndex(((int(c.Gear)*LoadBands+int(c.Load))*RPMBands+int(c.RPM))*2 + warm)
}

// in is the same running in another gear state.
func (i conditionIndex) in(s gear.State) conditionIndex {
	const each = conditionIndex(conditions / gearStates)
	return i%each + conditionIndex(s)*each
}

func (i conditionIndex) condition() Condition {
	n := int(i)
	c := Condition{Warm: n%2 == 1}
	n /= 2
	c.RPM = RPMBand(n % RPMBands)
	n /= RPMBands
	c.Load = LoadBand(n % LoadBands)
	c.Gear = gear.State(n / LoadBands)
	return c
}
