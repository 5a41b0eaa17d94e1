package viewstest

import (
	"math"
	"time"

	"stumble/misfire/balance"
	"stumble/misfire/rate"
	"stumble/misfire/steps"
)

// Balance is a balance test with a cylinder that works, one that was not cut and one that cannot be judged.
func Balance() *balance.Result {
	return &balance.Result{Base: 741.4, Median: 51, Chance: 4.2, Weak: []int{4}, Sentence: "Cylinder 4 gives little work.", Notes: []string{"A note."},
		Cylinders: []balance.Cylinder{
			{Cylinder: 1, Cuts: 1, Drop: 51, Low: 41, High: 61, Share: 100, ShareLow: 80, ShareHigh: 120, Verdict: balance.Even},
			{Cylinder: 3, Drop: math.NaN(), Low: math.NaN(), High: math.NaN(), Share: math.NaN(), ShareLow: math.NaN(), ShareHigh: math.NaN()},
			{Cylinder: 4, Cuts: 2, Drop: -1.2, Low: math.Inf(-1), High: math.Inf(1), Share: math.NaN(), ShareLow: math.NaN(), ShareHigh: math.NaN(), Verdict: balance.CannotSay},
		}}
}

// Results are steps that went as steps can go.
func Results() []steps.Result {
	all := steps.All()
	count := func(cylinder int, misses, firings float64) steps.Count {
		return steps.Count{Cylinder: cylinder, Reported: true, Estimate: rate.Interval(misses, firings, 1)}
	}
	silent := count(4, 0, 600)
	silent.Reported = false
	return []steps.Result{
		{Step: &all[0], Outcome: steps.Done, In: 3 * time.Minute, Firings: 1114, Needed: 1498,
			Cells: []steps.Count{count(1, 0, 1130), count(2, 0, 1130), count(3, 2, 1130), silent}},
		{Step: &all[1], Outcome: steps.Done, In: 90 * time.Second, Cells: []steps.Count{count(1, 0, 505), count(2, 15, 505), count(3, 0, 505), silent}},
		{Step: &all[2], Outcome: steps.BrokenOff, In: 12 * time.Second, Remark: "the misfire is as heavy as before: it can overheat the catalyst"},
		{Step: &all[3], Outcome: steps.LeftOut},
		{Step: &all[4]},
	}
}
