package engine_test

import (
	"fmt"

	"stumble/misfire/engine"
)

// A layout tells which cylinders share a bank, follow one another in firing, or may share a coil.
func ExampleFind() {
	l, err := engine.Find("i4-1342")
	if err != nil {
		fmt.Println(err)
		return
	}
	before, after := l.FiringNeighbours(2)
	fmt.Println(l.Cylinders, "cylinders, fired in the order", l.FiringOrder)
	fmt.Println("cylinder 2 fires between", before, "and", after, "and may share a coil with", l.MateOf(2))
	// Output:
	// 4 cylinders, fired in the order [1 3 4 2]
	// cylinder 2 fires between 4 and 1 and may share a coil with 3
}

// A car that reports its monitors in firing order has its third one for cylinder 4.
func ExampleFromFiringOrder() {
	l, _ := engine.Find("i4-1342")
	m, err := engine.FromFiringOrder(l)
	fmt.Println(m, m.Cylinder(3), err)
	// Output: 1,3,4,2 4 <nil>
}
