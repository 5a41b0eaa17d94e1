package cause

import (
	"fmt"
	"math"
	"time"

	"stumble/misfire"
	"stumble/misfire/engine"
)

// Heat is misses and firings of each cylinder by place and coolant temperature, from windows that lie within one place.
type Heat [engine.MaxCylinders][Places][heatBins]Tally

// Tally is misses among firings.
type Tally struct{ Misses, Firings float64 }

// Bins of coolant temperature are 5 degrees wide; the first holds all that is colder, the last all that is hotter.
const (
	heatBins  = 14
	heatWidth = 5
	heatFrom  = 40 // upper edge of the first bin, degrees Celsius
)

func heatBin(celsius float64) int {
	return min(heatBins-1, max(0, 1+int(math.Floor((celsius-heatFrom)/heatWidth))))
}

// Add takes the heat of another drive.
func (h *Heat) Add(o *Heat) {
	for c := range h {
		for p := range h[c] {
			for b := range h[c][p] {
				h[c][p][b].Misses += o[c][p][b].Misses
				h[c][p][b].Firings += o[c][p][b].Firings
			}
		}
	}
}

// thermometer remembers when the coolant came to which degree: windows are told some time after they were.
type thermometer struct {
	at      []time.Time
	celsius []float64
}

// warmest is how many degrees are remembered: enough for hours of any drive.
const warmest = 4096

func (t *thermometer) set(at time.Time, celsius float64) {
	if n := len(t.celsius); n == warmest || n > 0 && t.celsius[n-1] == celsius {
		return
	}
	t.at, t.celsius = append(t.at, at), append(t.celsius, celsius)
}

// read is the coolant at a time; false before it was first read.
func (t *thermometer) read(at time.Time) (celsius float64, ok bool) {
	for i := len(t.at) - 1; i >= 0; i-- {
		if !t.at[i].After(at) {
			return t.celsius[i], true
		}
	}
	return 0, false
}

// AddWindow takes a window of the same drive's tally. Windows that span several places or were not judged are passed
// over.
func (c *Collector) AddWindow(w *misfire.Window) {
	if !w.Counted || len(w.Stretches) == 0 {
		return
	}
	place, ok := placeOf(w.Stretches[0].Condition)
	firings := 0.0
	for _, s := range w.Stretches {
		p, known := placeOf(s.Condition)
		ok = ok && known && p == place
		firings += s.Firings
	}
	celsius, known := c.coolantWas.read(w.From.Add(w.To.Sub(w.From) / 2))
	if !ok || !known {
		return
	}
	bin := heatBin(celsius)
	for _, n := range w.Counts {
		t := &c.heat[n.Cylinder-1][place][bin]
		t.Misses += float64(n.Misses)
		t.Firings += firings
	}
}

// hotterBy is how many bins under the hottest the heat contrast parts cooler running from hot: ten degrees. A thermostat
// holds its engine within less.
const hotterBy = 2

// heat compares running when the engine is as hot as it gets with cooler running, place by place. Where windows tell
// nothing of it, cold and warm running are compared as the tally has them.
func (e *Evidence) heat(s *scope, put func(string, []float64, string)) {
	if weights, text := e.hotter(s.cylinders); weights != nil {
		put("heat", weights, text)
		return
	}
	var c contrast
	most := 0.0
	for p := range Places {
		cold := e.sum(s.cylinders, func(c *Cylinder) Count { return c.At[p][0] })
		warm := e.sum(s.cylinders, func(c *Cylinder) Count { return c.At[p][1] })
		if n := min(cold.Firings, warm.Firings) * (cold.Effective + warm.Effective); n > most {
			most = n
			c = contrast{cold, warm, "cold " + Place(p).String(), "warm"}
		}
	}
	put("heat", c.weights(0.5, 2), c.text())
}

// stratum is the running in one place, cooler and hot.
type stratum struct{ cool, hot Tally }

// hotter is the contrast of hot with cooler running in like places, by the ratio of the rates that is common to
// them: given the misses of both, those of the hot running are binomial (Breslow and Day 1980, section 4, from memory).
func (e *Evidence) hotter(cylinders []int) ([]float64, string) {
	hottest := 0
	for p := range Places {
		for b := range heatBins {
			if e.Heat[0][p][b].Firings >= fewFirings || e.Heat[cylinders[0]-1][p][b].Firings >= fewFirings {
				hottest = max(hottest, b)
			}
		}
	}
	split := hottest - hotterBy // the first bin that is hot
	if split < 1 {
		return nil, ""
	}
	strata, cool, hot := make([]stratum, Places), Tally{}, Tally{}
	for _, cyl := range cylinders {
		for p := range Places {
			for b := range heatBins {
				t, to := e.Heat[cyl-1][p][b], &strata[p].hot
				if b <= split {
					to = &strata[p].cool
				}
				to.Misses += t.Misses
				to.Firings += t.Firings
			}
		}
	}
	for _, s := range strata {
		if min(s.cool.Firings, s.hot.Firings) > 0 {
			cool.add(s.cool)
			hot.add(s.hot)
		}
	}
	phi := e.sum(cylinders, func(c *Cylinder) Count { return c.Total }).phi()
	if min(cool.Firings, hot.Firings) < fewFirings || (cool.Misses+hot.Misses)/phi < fewMisses {
		return nil, ""
	}
	text := fmt.Sprintf("misses %s of 1,000 firings when as hot as it gets, %s when cooler, in like running", plain(hot.rate()), plain(cool.rate()))
	return heatWeights(strata, phi), text
}

func (t *Tally) add(o Tally) {
	t.Misses += o.Misses
	t.Firings += o.Firings
}

func (t Tally) rate() float64 { return 1000 * t.Misses / t.Firings }

// heatWeights is how likely the common ratio of rates, hot over cool, is under a half, between, or over 2; all ratios
// from a thirtieth to thirty are alike beforehand, on a logarithmic scale.
func heatWeights(strata []stratum, phi float64) []float64 {
	const steps = 300
	edge := math.Log(30)
	logs := make([]float64, steps+1)
	top := math.Inf(-1)
	for i := range logs {
		ratio := math.Exp(edge * (2*float64(i)/steps - 1))
		for _, s := range strata {
			if min(s.cool.Firings, s.hot.Firings) == 0 {
				continue
			}
			hot := ratio * s.hot.Firings / (ratio*s.hot.Firings + s.cool.Firings)
			logs[i] += (s.hot.Misses*math.Log(hot) + s.cool.Misses*math.Log1p(-hot)) / phi
		}
		top = max(top, logs[i])
	}
	out, sum := make([]float64, 3), 0.0
	for i, l := range logs {
		at := 1
		switch ratio := edge * (2*float64(i)/steps - 1); {
		case ratio < -math.Ln2:
			at = 0
		case ratio > math.Ln2:
			at = 2
		}
		w := math.Exp(l - top)
		out[at] += w
		sum += w
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}
