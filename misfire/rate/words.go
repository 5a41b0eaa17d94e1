package rate

import (
	"fmt"
	"math"
)

// Plain writes a rate per 1,000 firings with as many digits as one reads at a
// glance: "none", "fewer than 0.1", "2.5", "31".
func Plain(perThousand float64) string {
	switch {
	case math.IsNaN(perThousand):
		return "an unknown number"
	case perThousand == 0:
		return "none"
	case perThousand < 0.05:
		return "fewer than 0.1"
	case perThousand < 9.95:
		return fmt.Sprintf("%.1f", perThousand)
	}
	return fmt.Sprintf("%.0f", perThousand)
}

// Thousands writes a count, which is never negative, as a whole number with
// commas: "38,412".
func Thousands(count float64) string {
	digits := fmt.Sprintf("%.0f", count)
	var out []byte
	for i := range len(digits) {
		if i > 0 && (len(digits)-i)%3 == 0 {
			out = append(out, ',')
		}
		out = append(out, digits[i])
	}
	return string(out)
}
