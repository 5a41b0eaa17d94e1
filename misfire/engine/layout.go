// Package engine knows how engines are laid out: how cylinders are numbered, which bank they stand on, in what
// order they fire and which of them may share a coil. It holds a table of common layouts, reads a user's own
// table, and maps the order in which a car reports its misfire monitors to cylinders. It is pure.
//
// Numbering, order and banks vary by maker: the emission label or the service information has the last word.
package engine

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// MaxCylinders is the most cylinders a layout may have: SAE J1979-DA has misfire monitors for sixteen
// cylinders (A2 to B1; older editions stop at twelve, AD).
const MaxCylinders = 16

// Layout is one way an engine is built. Cylinders are numbered from 1. Layouts are values to read; nothing in
// this package changes one after it was made.
type Layout struct {
	Key         string   // short name to type, as "i4-1342" or "v6-odd-even-123456"
	Name        string   // for reading, as "inline 4"; empty when the layout was not told
	Cylinders   int      //
	FiringOrder []int    // every cylinder once, from cylinder 1; empty when not told
	Banks       [][]int  // cylinders of each bank from one end of the block to the other, bank 1 first; empty when not told
	Pairs       [][2]int // companions: top dead centre together, so they may share a coil; empty when none or not told
	Note        string   // what to know before trusting it; may be empty
	Source      string   // where the row is from
}

// Plain is an engine of n cylinders whose layout was not told: no order, no banks, no pairs. n is 1 to
// MaxCylinders; anything else is an error.
func Plain(n int) (Layout, error) {
	if n < 1 || n > MaxCylinders {
		return Layout{}, fmt.Errorf("an engine of %d cylinders: give a number from 1 to %d", n, MaxCylinders)
	}
	return Layout{
		Key:       strconv.Itoa(n),
		Cylinders: n,
		Source:    "none",
	}, nil
}

// BankOf is the bank of a cylinder, 1 the bank that holds cylinder 1 (SAE J1930); 0 when not told.
func (l Layout) BankOf(cylinder int) int {
	for i, bank := range l.Banks {
		if slices.Contains(bank, cylinder) {
			return i + 1
		}
	}
	return 0
}

// MateOf is the companion of a cylinder, the one that reaches top dead centre with it and shares its coil on
// an engine with shared coils; 0 when it has none or it was not told.
func (l Layout) MateOf(cylinder int) int {
	for _, p := range l.Pairs {
		switch cylinder {
		case p[0]:
			return p[1]
		case p[1]:
			return p[0]
		}
	}
	return 0
}

// BlockNeighbours are the cylinders that stand next to one along its bank, none to two of them, in the order
// they stand. These, not the firing neighbours, are the ones a head gasket can join (common practice, no
// source).
func (l Layout) BlockNeighbours(cylinder int) []int {
	for _, bank := range l.Banks {
		if i := slices.Index(bank, cylinder); i >= 0 {
			return slices.Concat(bank[max(i-1, 0):i], bank[i+1:min(i+2, len(bank))])
		}
	}
	return nil
}

// FiringNeighbours are the cylinders that fire just before and just after one; both 0 when the order was not
// told, the cylinder itself when there is no other.
func (l Layout) FiringNeighbours(cylinder int) (before, after int) {
	i := slices.Index(l.FiringOrder, cylinder)
	if i < 0 {
		return 0, 0
	}
	n := len(l.FiringOrder)
	return l.FiringOrder[(i+n-1)%n], l.FiringOrder[(i+1)%n]
}

// CylinderOf is the cylinder at a place of the firing order, 1 the first; 0 when out of range or not told.
func (l Layout) CylinderOf(position int) int {
	if position < 1 || position > len(l.FiringOrder) {
		return 0
	}
	return l.FiringOrder[position-1]
}

// Row is a layout as words, for a table of layouts. Unknown is "".
type Row struct {
	Key, Name string
	Order     string // "1-3-4-2"
	Banks     string // "1 3 5 / 2 4 6"
	Pairs     string // "1+4 2+3"
	Note      string
}

// Row puts the layout into words, written as in the tables that Load reads.
func (l Layout) Row() Row {
	banks := make([]string, len(l.Banks))
	for i, bank := range l.Banks {
		banks[i] = join(bank, " ")
	}
	pairs := make([]string, len(l.Pairs))
	for i, p := range l.Pairs {
		pairs[i] = join(p[:], "+")
	}
	return Row{
		Key: l.Key, Name: l.Name, Note: l.Note,
		Order: join(l.FiringOrder, "-"),
		Banks: strings.Join(banks, " / "),
		Pairs: strings.Join(pairs, " "),
	}
}

func join(numbers []int, between string) string {
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, between)
}
