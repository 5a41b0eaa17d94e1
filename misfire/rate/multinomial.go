package rate

import (
	"math"
	"math/rand/v2"
)

// multinomial shares out a number of misses over cylinders by chance.
type multinomial struct {
	chances []float64
	misses  int
	seen    float64 // logarithm of the seen outcome's probability
}

// log is the logarithm of one outcome's probability.
func (m multinomial) log(outcome []int) float64 {
	l := m.logFactorial(m.misses)
	for i, x := range outcome {
		l += m.term(i, x)
	}
	return l
}

// term is cylinder i's part of an outcome's log probability.
func (m multinomial) term(i, x int) float64 {
	if x == 0 {
		return 0
	}
	return float64(x)*math.Log(m.chances[i]) - m.logFactorial(x)
}

func (m multinomial) logFactorial(x int) float64 {
	l, _ := math.Lgamma(float64(x) + 1)
	return l
}

// below sums the probabilities of all outcomes no likelier than the seen one,
// with the cylinders from i on and so many misses still to share, log being the
// part so far.
func (m multinomial) below(i, left int, log float64) float64 {
	if i == len(m.chances)-1 {
		log += m.term(i, left)
		if log > m.seen {
			return 0
		}
		return math.Exp(log)
	}
	var sum float64
	for x := range left + 1 {
		sum += m.below(i+1, left-x, log+m.term(i, x))
	}
	return sum
}

// drawn estimates the same sum from random outcomes. The generator's seed is
// fixed, so that the same counts always give the same answer.
func (m multinomial) drawn() float64 {
	const draws = 100_000
	rng := rand.New(rand.NewPCG(1, 1))
	outcome := make([]int, len(m.chances))
	unlikely := 1 // the seen outcome itself counts, so none is called impossible
	for range draws {
		m.draw(rng, outcome)
		if m.log(outcome) <= m.seen {
			unlikely++
		}
	}
	return float64(unlikely) / (draws + 1)
}

func (m multinomial) draw(rng *rand.Rand, outcome []int) {
	clear(outcome)
	for range m.misses {
		u := rng.Float64()
		i := 0
		for i < len(m.chances)-1 && u >= m.chances[i] {
			u -= m.chances[i]
			i++
		}
		outcome[i]++
	}
}

// outcomes is in how many ways so many misses fall on so many cylinders.
func outcomes(misses, cylinders int) float64 {
	ways := 1.0
	for i := 1; i < cylinders; i++ {
		ways *= float64(misses+i) / float64(i)
	}
	return ways
}
