package engine

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// The parsers below return what is wrong as words, "" for nothing: where it is wrong is their caller's to say.

// parseNumber reads one cylinder number of an engine of n cylinders.
func parseNumber(text string, n int) (int, string) {
	c, err := strconv.Atoi(strings.TrimSpace(text))
	switch {
	case err != nil:
		return 0, fmt.Sprintf("%q is no cylinder number", strings.TrimSpace(text))
	case c < 1 || c > n:
		return 0, fmt.Sprintf("cylinder %d is not one of 1 to %d", c, n)
	}
	return c, ""
}

// parsePermutation reads every cylinder once, parted by hyphens, commas or spaces.
func parsePermutation(text string) ([]int, string) {
	words := strings.FieldsFunc(text, func(r rune) bool { return r == '-' || r == ',' || r == ' ' || r == '\t' })
	switch {
	case len(words) == 0:
		return nil, "empty: write every cylinder once, as 1-3-4-2"
	case len(words) > MaxCylinders:
		return nil, fmt.Sprintf("%d cylinders: no more than %d are known", len(words), MaxCylinders)
	}
	cylinders := make([]int, 0, len(words))
	for _, word := range words {
		c, problem := parseNumber(word, len(words))
		if problem != "" {
			return nil, problem + ": write every cylinder once, as 1-3-4-2"
		}
		if slices.Contains(cylinders, c) {
			return nil, fmt.Sprintf("cylinder %d stands twice: write every cylinder once", c)
		}
		cylinders = append(cylinders, c)
	}
	return cylinders, ""
}

func parseOrder(text string) ([]int, string) {
	order, problem := parsePermutation(text)
	if problem == "" && order[0] != 1 {
		return nil, fmt.Sprintf("starts with cylinder %d: turn it round to start with cylinder 1", order[0])
	}
	return order, problem
}

// parseBanks reads "1 3 5 / 2 4 6" for n cylinders: each cylinder in one bank, cylinder 1 in the first.
func parseBanks(text string, n int) ([][]int, string) {
	if text == "" {
		return nil, ""
	}
	var banks [][]int
	seen := make([]int, n+1) // by cylinder, the bank it stands in
	for i, part := range strings.Split(text, "/") {
		var bank []int
		for _, word := range strings.Fields(part) {
			c, problem := parseNumber(word, n)
			if problem != "" {
				return nil, problem + ": write banks as 1 3 5 / 2 4 6"
			}
			if seen[c] != 0 {
				return nil, fmt.Sprintf("cylinder %d stands twice: each cylinder has one bank", c)
			}
			seen[c] = i + 1
			bank = append(bank, c)
		}
		if len(bank) == 0 {
			return nil, fmt.Sprintf("bank %d is empty: write banks as 1 3 5 / 2 4 6", i+1)
		}
		banks = append(banks, bank)
	}
	if missing := slices.Index(seen[1:], 0) + 1; missing > 0 {
		return nil, fmt.Sprintf("cylinder %d has no bank: add it, or leave the field empty", missing)
	}
	if seen[1] != 1 {
		return nil, "cylinder 1 must stand in the first bank: write its bank first"
	}
	return banks, ""
}

// parsePairs reads "1+4 2+3" for n cylinders: two different cylinders each, none in two pairs.
func parsePairs(text string, n int) ([][2]int, string) {
	var pairs [][2]int
	seen := make([]bool, n+1)
	for _, word := range strings.Fields(text) {
		first, second, ok := strings.Cut(word, "+")
		if !ok {
			return nil, fmt.Sprintf("%q is no pair: write pairs as 1+4 2+3", word)
		}
		var pair [2]int
		for i, text := range []string{first, second} {
			c, problem := parseNumber(text, n)
			if problem != "" {
				return nil, problem + ": write pairs as 1+4 2+3"
			}
			if seen[c] {
				return nil, fmt.Sprintf("cylinder %d stands twice: a cylinder has one companion", c)
			}
			seen[c] = true
			pair[i] = c
		}
		pairs = append(pairs, pair)
	}
	return pairs, ""
}
