package car

import "sort"

// GearState is what the gearbox does with the engine.
type GearState uint8

// The gear states, as the tally of a drive tells them apart.
const (
	ParkNeutral GearState = iota
	DriveAtRest           // Drive, standing
	Reverse
	Moving // Drive, 1 km/h or more
)

// String is the gear state's short name: P/N, D, R or moving.
func (g GearState) String() string { return [...]string{"P/N", "D", "R", "moving"}[g&3] }

// Key is a cell of the truth: the condition a firing happened in.
type Key struct {
	Gear   GearState
	Number int  // forward gear engaged; 0 unless in Drive
	Load   int  // calculated load, whole percent (rounded down)
	RPM    int  // lower edge of a bin of 50 rpm
	Warm   bool // coolant at 70 degrees or more
}

// Tally is what happened to one cylinder in a cell. Expected is the sum of the chances of a miss of its firings.
type Tally struct {
	Firings, Misses uint64
	Expected        float64
}

// Cell is one condition with the tally of each cylinder, cylinder 1 first.
type Cell struct {
	Key
	Cylinders []Tally
}

// Truth is what really happened since the simulation began.
type Truth struct {
	Cells       []Cell   // in the order of their keys; monitored firings only
	Unmonitored []uint64 // firings of each cylinder that no controller can judge: cranking, first two turns, fuel cut

	counted, shown []uint64
}

// Counted is the number of misses the controller has counted for a cylinder in this driving cycle, or in the
// last one while the engine stands.
func (t Truth) Counted(cylinder int) uint64 { return t.counted[cylinder-1] }

// Shown is what the controller's counter for a cylinder (TID 0C) reads now.
func (t Truth) Shown(cylinder int) uint64 { return t.shown[cylinder-1] }

// Sum adds up a cylinder's tallies over the cells that match; nil matches all.
func (t Truth) Sum(cylinder int, match func(Key) bool) Tally {
	var s Tally
	for i := range t.Cells {
		if match != nil && !match(t.Cells[i].Key) {
			continue
		}
		c := t.Cells[i].Cylinders[cylinder-1]
		s.Firings += c.Firings
		s.Misses += c.Misses
		s.Expected += c.Expected
	}
	return s
}

// ledger keeps the truth while the car runs: one row of tallies a cell, cylinders side by side.
type ledger struct {
	cylinders   int
	rows        map[uint32]int
	tallies     []Tally
	unmonitored [maxCylinders]uint64
}

// pack orders keys as Truth lists them.
func (k Key) pack() uint32 {
	warm := uint32(0)
	if k.Warm {
		warm = 1
	}
	return uint32(k.Gear)<<20 | uint32(k.Number)<<16 | warm<<15 | uint32(k.RPM/50)<<7 | uint32(k.Load)
}

func unpack(p uint32) Key {
	return Key{
		Gear: GearState(p >> 20), Number: int(p >> 16 & 0xF), Warm: p>>15&1 == 1,
		RPM: int(p>>7&0xFF) * 50, Load: int(p & 0x7F),
	}
}

// row is the tallies of a cell, good until the next call.
func (l *ledger) row(k Key) []Tally {
	p := k.pack()
	at, known := l.rows[p]
	if !known {
		at = len(l.tallies)
		l.rows[p] = at
		for range l.cylinders {
			l.tallies = append(l.tallies, Tally{})
		}
	}
	return l.tallies[at : at+l.cylinders]
}

// cells is a copy of all rows, ordered by key.
func (l *ledger) cells() []Cell {
	keys := make([]uint32, 0, len(l.rows))
	for k := range l.rows {
		keys = append(keys, k)
	}
	sort.Slice(keys, func(i, j int) bool { return keys[i] < keys[j] })
	out := make([]Cell, len(keys))
	tallies := append([]Tally(nil), l.tallies...)
	for i, k := range keys {
		at := l.rows[k]
		out[i] = Cell{Key: unpack(k), Cylinders: tallies[at : at+l.cylinders : at+l.cylinders]}
	}
	return out
}
