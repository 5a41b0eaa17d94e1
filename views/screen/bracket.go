package screen

import (
	"slices"

	"stumble/misfire/engine"
)

// rung is one line of the ladder: a cylinder in its bank.
type rung struct {
	cylinder int
	bank     int  // 0 when not told
	first    bool // the first of its bank
}

// rungsOf puts the cylinders in the order the ladder shows them: by bank, in a bank by number.
func rungsOf(l engine.Layout) []rung {
	rungs := make([]rung, 0, max(l.Cylinders, 0))
	for c := 1; c <= l.Cylinders; c++ {
		rungs = append(rungs, rung{cylinder: c, bank: l.BankOf(c)})
	}
	slices.SortStableFunc(rungs, func(a, b rung) int { return a.bank - b.bank })
	for i := range rungs {
		rungs[i].first = i == 0 || rungs[i].bank != rungs[i-1].bank
	}
	return rungs
}

// bracket ties the rungs of two cylinders that may share a coil, in a column of its own.
type bracket struct{ top, bottom, column int }

// bracketsOf lays the brackets of an engine's pairs into as few columns as keep them apart. Column 0 is next to
// the cylinder numbers; longer brackets lie further out. columns is how many there are.
func bracketsOf(rungs []rung, pairs [][2]int) (brackets []bracket, columns int) {
	at := map[int]int{}
	for i, r := range rungs {
		at[r.cylinder] = i
	}
	for _, p := range pairs {
		a, okA := at[p[0]]
		b, okB := at[p[1]]
		if okA && okB && a != b {
			brackets = append(brackets, bracket{top: min(a, b), bottom: max(a, b)})
		}
	}
	slices.SortStableFunc(brackets, func(a, b bracket) int { return (a.bottom - a.top) - (b.bottom - b.top) })
	for i := range brackets {
		brackets[i].column = freeColumn(brackets[:i], brackets[i])
		columns = max(columns, brackets[i].column+1)
	}
	return brackets, columns
}

// freeColumn is the innermost column in which b meets none of those laid before it.
func freeColumn(laid []bracket, b bracket) int {
	for column := 0; ; column++ {
		meets := func(o bracket) bool { return o.column == column && b.top <= o.bottom && o.top <= b.bottom }
		if !slices.ContainsFunc(laid, meets) {
			return column
		}
	}
}
