package engine

import "slices"

// Companions finds the cylinders that reach top dead centre together: write the first half of the firing
// order over the second half, and each column is a pair (ignition textbooks; the rule supposes that the second
// turn of the crank repeats the first, as it does on engines with an even number of cylinders). The lower
// number comes first, and so does the pair that holds it. An odd number of cylinders has none: nil.
func Companions(order []int) [][2]int {
	if len(order)%2 != 0 {
		return nil
	}
	half := len(order) / 2
	var pairs [][2]int
	for i, a := range order[:half] {
		b := order[half+i]
		pairs = append(pairs, [2]int{min(a, b), max(a, b)})
	}
	slices.SortFunc(pairs, func(a, b [2]int) int { return a[0] - b[0] })
	return pairs
}
