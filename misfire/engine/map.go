package engine

import (
	"errors"
	"fmt"
)

// Map tells which cylinder a car means by each of its misfire monitors. SAE J1979-DA gives monitor A2 to
// cylinder 1, A3 to cylinder 2 and so on, but cars are known that report in firing order. Position 1 is
// monitor A2. A Map is a value, compared with ==; the zero Map is of no cylinders and answers 0.
type Map struct {
	cylinders [MaxCylinders]uint8
	n         uint8
}

// Identity is the standard's map: position n is cylinder n. n beyond 0 to MaxCylinders is brought within.
func Identity(n int) Map {
	m := Map{n: uint8(min(max(n, 0), MaxCylinders))}
	for i := range m.Len() {
		m.cylinders[i] = uint8(i + 1)
	}
	return m
}

// FromFiringOrder is the map of a car that reports in firing order. A layout without one is an error.
func FromFiringOrder(l Layout) (Map, error) {
	if len(l.FiringOrder) == 0 {
		return Map{}, errors.New("the firing order of this engine is not known: name its layout, or give the map as 1,3,4,2")
	}
	return newMap(l.FiringOrder), nil
}

// ParseMap reads a map given as the cylinders of monitors A2, A3 ... in turn: "1,3,4,2". Hyphens and spaces
// do as well as commas. n is the number of cylinders of the engine, 0 when it is not known.
func ParseMap(text string, n int) (Map, error) {
	cylinders, err := parsePermutation(text)
	if err != nil {
		return Map{}, fmt.Errorf("cylinder map %q: %w", text, err)
	}
	if n != 0 && len(cylinders) != n {
		return Map{}, fmt.Errorf("cylinder map %q names %d cylinders, the engine has %d: name every cylinder once", text, len(cylinders), n)
	}
	return newMap(cylinders), nil
}

func newMap(cylinders []int) Map {
	m := Map{n: uint8(len(cylinders))}
	for i, c := range cylinders {
		m.cylinders[i] = uint8(c)
	}
	return m
}

// Len is the number of cylinders the map knows.
func (m Map) Len() int { return int(m.n) }

// Cylinder is the cylinder meant by the monitor at a position, 1 being monitor A2; 0 beyond the map.
func (m Map) Cylinder(position int) int {
	if position < 1 || position > m.Len() {
		return 0
	}
	return int(m.cylinders[position-1])
}

// Position is the place of the monitor that means a cylinder; 0 when the cylinder is not in the map.
func (m Map) Position(cylinder int) int {
	for i, c := range m.cylinders[:m.n] {
		if int(c) == cylinder {
			return i + 1
		}
	}
	return 0
}

// IsIdentity reports whether every monitor means the cylinder that the standard says.
func (m Map) IsIdentity() bool { return m == Identity(m.Len()) }

// String is the map as ParseMap reads it, "1,3,4,2".
func (m Map) String() string {
	cylinders := make([]int, m.n)
	for i := range cylinders {
		cylinders[i] = int(m.cylinders[i])
	}
	return join(cylinders, ",")
}

// MarshalText writes the map as String does.
func (m Map) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads what MarshalText wrote; nothing is the zero Map.
func (m *Map) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*m = Map{}
		return nil
	}
	read, err := ParseMap(string(text), 0)
	if err != nil {
		return err
	}
	*m = read
	return nil
}
