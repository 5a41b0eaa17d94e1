package car

import "math/rand/v2"

// uniform is a number in [0, 1).
func uniform(r *rand.PCG) float64 { return float64(r.Uint64()>>11) / (1 << 53) }

// normal is near enough a standard normal number for the unrest of an idle: the sum of four 16-bit draws.
func normal(r *rand.PCG) float64 {
	u := r.Uint64()
	sum := float64(u&0xFFFF) + float64(u>>16&0xFFFF) + float64(u>>32&0xFFFF) + float64(u>>48)
	return (sum/65536 - 2) * 1.7320508 // variance of the sum is 4/12
}

// piecewise is the line through the points x0, y0, x1, y1 ..., level beyond its ends.
func piecewise(x float64, points ...float64) float64 {
	if x <= points[0] {
		return points[1]
	}
	for i := 2; i < len(points); i += 2 {
		if x < points[i] {
			x0, y0, x1, y1 := points[i-2], points[i-1], points[i], points[i+1]
			return y0 + (y1-y0)*(x-x0)/(x1-x0)
		}
	}
	return points[len(points)-1]
}
