package misfire

import (
	"time"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/rate"
)

// Summary is what a drive has told so far: everything a screen, a report or a script shows. It is a value
// of its own, not changed by the tally that made it.
type Summary struct {
	Start, Now time.Time // first and last sample
	Running    time.Duration
	Engine     engine.Layout
	Map        engine.Map // identity unless the car reports otherwise

	Live    Live
	Refresh Refresh

	Total  []Cell // one a cylinder, whatever the condition
	ByGear []Cell // cylinder x gear state, for gear states seen, cylinders in order within a gear
	Cells  []Cell // cylinder x condition

	Verdict     Verdict
	Whole       Whole
	Unknown     Unknown
	Unmonitored time.Duration // fuel cut and other running that the controller may not judge
	Averages    []Average     // the car's own averages of ten driving cycles
	Idle        []IdleDips    // weaker evidence where the car reports no counter; else empty
	Unread      int           // monitors that the car lists and that were not answered for: a cylinder without a count may have one
	Cycles      int           // driving cycles seen: engine starts, and 1 for an engine found running
	Notes       []Note        // what a reader must know to take the numbers for what they are
}

// Live is the last known state of the car.
type Live struct {
	RPM, Load, Speed, Throttle, Coolant float64 // rpm, %, km/h, %, degC; NaN when not known
	Gear                                gear.Call
	Condition                           Condition
	Running                             bool // the engine turns by itself
	MIL                                 MIL
	CountAge                            []time.Duration // per cylinder, since its counter was last read; negative when never
}

// MIL is the state of the malfunction indicator lamp.
type MIL uint8

// States of the lamp. Flashing means misfire that harms the catalyst (13 CCR 1968.2 (e)(3.4.1)(A)(ii)).
const (
	MILUnknown MIL = iota
	MILOff
	MILOn
	MILFlashing
)

func (m MIL) String() string {
	switch m {
	case MILOff:
		return "off"
	case MILOn:
		return "on"
	case MILFlashing:
		return "flashing"
	}
	return "not known"
}

// Cell is the rate of one cylinder in one condition, gear state or drive.
type Cell struct {
	Cylinder  int
	Condition Condition // only Gear is meaningful in ByGear, nothing in Total
	Origin    gear.Origin
	rate.Estimate
	Reported  bool          // the car has a counter for this cylinder; without one nothing is known
	Mixed     float64       // share of the firings that lie in windows spanning several conditions, 0..1
	Apart     bool          // false when the split of a lump over conditions cannot be told yet
	Judged    bool          // enough blocks to judge bursts; false: no verdict stronger than "not yet"
	Bursts    bool          // the misses come in bursts, beyond chance
	Worsening bool          // the rate rose against this cylinder's own earlier running in like condition
	Since     time.Time     // when it began to, if it did
	Running   time.Duration // running behind the cell
	RPM, Load float64       // means over its revolutions, rpm and percent; NaN in Total
	Still     bool          // in Total: the counter stands still beyond chance, and what ran since is left out
	// Pauses between the misses of unmixed windows, of which there were so many; nil where none missed. Guard is what
	// evidence of them is divided by: see [rate.Guard].
	Pauses  *rate.PauseTally
	Windows int
	Guard   float64
	Uneven  float64    // variance over mean of the misses of blocks, the largest over lengths of ten blocks and more; at least 1
	Decides rate.Count // misses and firings of unmixed windows, in Total of all: what verdicts rest on
}

// RefreshKind is how a controller brings its counters up to date.
type RefreshKind uint8

// Kinds of refresh.
const (
	RefreshUnknown     RefreshKind = iota // too few rises seen
	RefreshAtOnce                         // with the miss, or too soon after to tell
	RefreshRevolutions                    // every so many crank revolutions
	RefreshSeconds                        // every so many seconds
	RefreshKeyOff                         // only when the engine stops: the whole driving cycle is one window
)

// Refresh is the cadence at which the car's counters move.
type Refresh struct {
	Kind        RefreshKind
	Revolutions float64 // for RefreshRevolutions
	Seconds     float64 // for RefreshSeconds
	Rises       int     // rises behind the finding
}

// Verdict is what the drive shows.
type Verdict struct {
	Finding   Finding
	Cylinders []int // that miss more than a healthy one may, the worst first; kept until what is seen speaks against it
	// Now are cylinders that have missed too much so far, on less running than it takes to call them bad.
	Now       []int
	Dead      []int      // of Cylinders, those that do not fire at all
	Foremost  int        // cylinder that most misses are on, few as they may be; 0 when there is none
	WorseIn   gear.State // gear state in which the worst of them is worse beyond chance; Unknown when none is
	AboveLoad int        // percent of load above which, on the move, it is worse beyond chance; 0 when none is
	Worsening []int
	// Bank is the bank that all cylinders named lie on, named whole or with every miss; with none named the one that
	// misses too much as a whole. 0 when there is none.
	Bank    int
	Random  bool // the engine misses too much as a whole, and no cylinder stands out
	EaseOff bool // misfire that can overheat the catalyst is going on
	// Clash is codes that name other cylinders than these; nil where they do not.
	Clash *Clash
}

// Whole is the whole-engine misfire percentage over the two regulatory blocks.
type Whole struct {
	Catalyst, Emission Block
}

// Block is the percentage over one kind of block of crank revolutions.
type Block struct {
	Revolutions float64 // length of the block: 200 or 1000
	Last, Worst float64 // percent; NaN before the first whole block
	Limit       float64 // percent
	Reported    bool    // the limit is the car's own (monitor A1), not the stated default
	Blocks      int     // whole blocks seen
	Over        int     // of them over the limit
}

// Unknown is running that could not be laid to any condition, with the misses that fell in it.
type Unknown struct {
	Running time.Duration
	Misses  int
}

// Average is a cylinder's test 0B: the car's own average over ten driving cycles.
type Average struct {
	Cylinder int
	Value    float64 // misses a driving cycle
}

// IdleDips is how often engine speed dipped at a steady idle in one gear state: evidence of misses, but no
// count of them. It compares gear states of one drive, not cars or drives.
type IdleDips struct {
	Gear      gear.State
	Dips      int
	Minutes   float64 // of steady idle
	Low, High float64 // 95 % limits of dips a minute
}

// PerMinute is the dips a minute.
func (d IdleDips) PerMinute() float64 { return float64(d.Dips) / d.Minutes }
