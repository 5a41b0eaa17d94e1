package misfire

import (
	"math"
	"slices"
)

// mixture is windows that span several groups in like proportion, put together: the sum of Poisson counts is
// Poisson too, so nothing but a little sharpness is lost.
type mixture struct {
	groups  []int
	firings []float64 // by place in groups
	misses  float64
}

const (
	// likeMix is how far the shares of two mixtures may lie apart to be put together.
	likeMix = 0.1
	// mostMixtures bounds the mixtures kept apart for one cylinder.
	mostMixtures = 64
)

// mix puts a window with misses to the mixture it is like, or begins one. With too many kinds it joins the
// last one, which then spans its groups too.
func mix(mixtures []mixture, parts []part, misses float64) []mixture {
	for i := range mixtures {
		if mixtures[i].alike(parts) {
			mixtures[i].add(parts, misses)
			return mixtures
		}
	}
	if len(mixtures) < mostMixtures {
		mixtures = append(mixtures, mixture{})
	}
	mixtures[len(mixtures)-1].add(parts, misses)
	return mixtures
}

// alike reports whether a window spans the mixture's groups in like proportion.
func (m *mixture) alike(parts []part) bool {
	if len(m.groups) != len(parts) {
		return false
	}
	var all, mine float64
	for k, p := range parts {
		if m.groups[k] != p.group {
			return false
		}
		all += m.firings[k]
		mine += p.firings
	}
	for k, p := range parts {
		if math.Abs(m.firings[k]/all-p.firings/mine) > likeMix {
			return false
		}
	}
	return true
}

func (m *mixture) add(parts []part, misses float64) {
	m.misses += misses
	for _, p := range parts {
		i, found := slices.BinarySearch(m.groups, p.group)
		if !found {
			m.groups = slices.Insert(m.groups, i, p.group)
			m.firings = slices.Insert(m.firings, i, 0)
		}
		m.firings[i] += p.firings
	}
}
