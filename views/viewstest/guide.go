package viewstest

import (
	"math"
	"time"

	"stumble/misfire/guide"
	"stumble/misfire/rate"
)

// Balance is a balance test with a cylinder that works, one that was not cut and one that cannot be judged.
func Balance() *guide.BalanceResult {
	return &guide.BalanceResult{Base: 741.4, Median: 51, Chance: 4.2, Weak: []int{4}, Finding: guide.Compared,
		Cylinders: []guide.CutCylinder{
			{Cylinder: 1, Cuts: 1, Drop: 51, Low: 41, High: 61, Share: 100, ShareLow: 80, ShareHigh: 120, Verdict: guide.Even},
			{Cylinder: 3, Drop: math.NaN(), Low: math.NaN(), High: math.NaN(), Share: math.NaN(), ShareLow: math.NaN(), ShareHigh: math.NaN()},
			{Cylinder: 4, Cuts: 2, Drop: -1.2, Low: math.Inf(-1), High: math.Inf(1), Share: math.NaN(), ShareLow: math.NaN(), ShareHigh: math.NaN(), Verdict: guide.CannotSay},
		}}
}

// Results are steps that went as steps can go.
func Results() []guide.StepResult {
	all := guide.All()
	count := func(cylinder int, misses, firings float64) guide.StepCount {
		return guide.StepCount{Cylinder: cylinder, Reported: true, Estimate: rate.Interval(misses, firings, 1)}
	}
	silent := count(4, 0, 600)
	silent.Reported = false
	return []guide.StepResult{
		{Step: &all[0], Outcome: guide.Done, In: 3 * time.Minute, Firings: 1114, Needed: 1498,
			Counts: []guide.StepCount{count(1, 0, 1130), count(2, 0, 1130), count(3, 2, 1130), silent}},
		{Step: &all[1], Outcome: guide.Done, In: 90 * time.Second, Counts: []guide.StepCount{count(1, 0, 505), count(2, 15, 505), count(3, 0, 505), silent}},
		{Step: &all[2], Outcome: guide.BrokenOff, In: 12 * time.Second, Remark: guide.Saying{Kind: guide.CatalystStill}},
		{Step: &all[3], Outcome: guide.LeftOut},
		{Step: &all[4]},
	}
}
