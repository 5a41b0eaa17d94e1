package cause

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// cylinders names cylinders: "cylinder 2", "cylinders 2 and 3".
func cylinders(list []int) string {
	if len(list) == 1 {
		return "cylinder " + strconv.Itoa(list[0])
	}
	return "cylinders " + numbers(list)
}

// numbers lists numbers: "2", "2 and 3", "1, 2 and 3".
func numbers(list []int) string {
	words := make([]string, len(list))
	for i, n := range list {
		words[i] = strconv.Itoa(n)
	}
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

func plural(n float64, one, many string) string {
	if math.Round(n) == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%.0f %s", n, many)
}
