package engine

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// The errors of the parsers below say what is wrong; where it is wrong is their caller's to say.

// parseNumber reads one cylinder number of an engine of n cylinders.
func parseNumber(text string, n int) (int, error) {
	c, err := strconv.Atoi(strings.TrimSpace(text))
	switch {
	case err != nil:
		return 0, fmt.Errorf("%q is no cylinder number", strings.TrimSpace(text))
	case c < 1 || c > n:
		return 0, fmt.Errorf("cylinder %d is not one of 1 to %d", c, n)
	}
	return c, nil
}

// parsePermutation reads every cylinder once, parted by hyphens, commas or spaces.
func parsePermutation(text string) ([]int, error) {
	words := strings.FieldsFunc(text, func(r rune) bool { return r == '-' || r == ',' || r == ' ' || r == '\t' })
	switch {
	case len(words) == 0:
		return nil, errors.New("empty: write every cylinder once, as 1-3-4-2")
	case len(words) > MaxCylinders:
		return nil, fmt.Errorf("%d cylinders: no more than %d are known", len(words), MaxCylinders)
	}
	cylinders := make([]int, 0, len(words))
	for _, word := range words {
		c, err := parseNumber(word, len(words))
		if err != nil {
			return nil, fmt.Errorf("%w: write every cylinder once, as 1-3-4-2", err)
		}
		if slices.Contains(cylinders, c) {
			return nil, fmt.Errorf("cylinder %d stands twice: write every cylinder once", c)
		}
		cylinders = append(cylinders, c)
	}
	return cylinders, nil
}

func parseOrder(text string) ([]int, error) {
	order, err := parsePermutation(text)
	if err == nil && order[0] != 1 {
		return nil, fmt.Errorf("starts with cylinder %d: turn it round to start with cylinder 1", order[0])
	}
	return order, err
}

// parseBanks reads "1 3 5 / 2 4 6" for n cylinders: each cylinder in one bank, cylinder 1 in the first.
func parseBanks(text string, n int) ([][]int, error) {
	if text == "" {
		return nil, nil
	}
	var banks [][]int
	seen := make([]int, n+1) // by cylinder, the bank it stands in
	for i, part := range strings.Split(text, "/") {
		var bank []int
		for _, word := range strings.Fields(part) {
			c, err := parseNumber(word, n)
			if err != nil {
				return nil, fmt.Errorf("%w: write banks as 1 3 5 / 2 4 6", err)
			}
			if seen[c] != 0 {
				return nil, fmt.Errorf("cylinder %d stands twice: each cylinder has one bank", c)
			}
			seen[c] = i + 1
			bank = append(bank, c)
		}
		if len(bank) == 0 {
			return nil, fmt.Errorf("bank %d is empty: write banks as 1 3 5 / 2 4 6", i+1)
		}
		banks = append(banks, bank)
	}
	if missing := slices.Index(seen[1:], 0) + 1; missing > 0 {
		return nil, fmt.Errorf("cylinder %d has no bank: add it, or leave the field empty", missing)
	}
	if seen[1] != 1 {
		return nil, errors.New("cylinder 1 must stand in the first bank: write its bank first")
	}
	return banks, nil
}

// parsePairs reads "1+4 2+3" for n cylinders: two different cylinders each, none in two pairs.
func parsePairs(text string, n int) ([][2]int, error) {
	var pairs [][2]int
	seen := make([]bool, n+1)
	for _, word := range strings.Fields(text) {
		first, second, ok := strings.Cut(word, "+")
		if !ok {
			return nil, fmt.Errorf("%q is no pair: write pairs as 1+4 2+3", word)
		}
		var pair [2]int
		for i, text := range []string{first, second} {
			c, err := parseNumber(text, n)
			if err != nil {
				return nil, fmt.Errorf("%w: write pairs as 1+4 2+3", err)
			}
			if seen[c] {
				return nil, fmt.Errorf("cylinder %d stands twice: a cylinder has one companion", c)
			}
			seen[c] = true
			pair[i] = c
		}
		pairs = append(pairs, pair)
	}
	return pairs, nil
}
